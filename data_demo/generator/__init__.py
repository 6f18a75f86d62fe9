"""The invented test cell behind the demo bench; nothing here is used by the toolkit."""

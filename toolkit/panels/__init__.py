"""Widgets of the workbooks; nothing here is worth testing without a screen."""

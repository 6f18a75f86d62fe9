"""Findings made into what an audience sees: picture, page, clip, talk track, poster."""

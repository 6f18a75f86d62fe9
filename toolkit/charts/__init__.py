"""One description of a picture (picture.py), drawn live by Bokeh (live.py)."""

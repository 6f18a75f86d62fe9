"""Widgets of the workbooks; nothing here is worth testing without a screen."""


def ready_page():
    """Make the page ready for live figures, without asking any outside address.

    The first cell of every workbook calls it. Raises RuntimeError where packages that must match
    each other do not: a figure would stay blank without a word.
    """
    from bokeh.io import output_notebook
    from bokeh.resources import Resources

    _check_versions()
    output_notebook(resources=Resources(mode="inline", components=["bokeh"]), hide_banner=True)


def _check_versions():
    from importlib.metadata import version

    needed = {"bokeh": "3.9", "jupyter_bokeh": "4.1", "ipywidgets": "8.1"}
    wrong = [
        f"{k} {version(k)} (needs {v})"
        for k, v in needed.items()
        if not version(k).startswith(v + ".")
    ]
    if wrong:
        raise RuntimeError(
            f"these packages do not match: {', '.join(wrong)}: install requirements.txt again"
        )

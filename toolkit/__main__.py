"""The launcher: `python -m toolkit` opens the workbooks in JupyterLab.

    python -m toolkit                    start at 00_start_here
    python -m toolkit 03_back_to_back    start at another workbook

Anything after "--" goes to JupyterLab, such as `-- --no-browser`.
"""

import os
import sys
from pathlib import Path
from uuid import uuid4

import nbformat
from jupyter_core.paths import jupyter_runtime_dir
from nbformat.sign import NotebookNotary

ROOT = Path(__file__).resolve().parent.parent
WORKBOOKS = ROOT / "workbooks"
LAB = Path(__file__).resolve().parent / "lab"


def trust_workbooks():
    """Sign the shipped workbooks, so that they may run when they open."""
    notary = NotebookNotary()
    for path in sorted(WORKBOOKS.glob("*.ipynb")):
        notary.sign(nbformat.read(path, as_version=4))


def lab_arguments(workbook, extra=()):
    """The arguments for JupyterLab: our extension, this machine only, the workbook on top."""
    arguments = [
        f"--ServerApp.root_dir={ROOT}",
        f"--LabApp.default_url=/lab/tree/workbooks/{workbook}.ipynb",
        f"--LabApp.extra_labextensions_path={LAB / 'labextensions'}",
        "--LabApp.news_url=None",
        "--ServerApp.ip=127.0.0.1",
    ]
    if _sockets_fit():
        arguments.append("--KernelManager.transport=ipc")
    return [*arguments, *extra]


def _sockets_fit():
    """Whether kernels can be reached by file sockets, which keeps their traffic off the network.

    A socket's path may have 103 bytes at most (macOS; Linux allows four more).
    """
    longest = Path(jupyter_runtime_dir()) / f"kernel-{uuid4()}-ipc-1"
    return sys.platform != "win32" and len(os.fsencode(longest)) <= 103


def main(argv):
    """Start JupyterLab on a workbook; returns the exit code."""
    own, extra = argv, []
    if "--" in argv:
        cut = argv.index("--")
        own, extra = argv[:cut], argv[cut + 1 :]
    names = [p.stem for p in sorted(WORKBOOKS.glob("*.ipynb"))]
    workbook = own[0].removesuffix(".ipynb") if own else "00_start_here"
    if workbook not in names:
        print(f"There is no workbook '{workbook}': choose one of {', '.join(names)}.")
        return 2
    # Beside the person's own settings, never in place of them.
    paths = [str(LAB / "config"), os.environ.get("JUPYTER_CONFIG_PATH", "")]
    os.environ["JUPYTER_CONFIG_PATH"] = os.pathsep.join(filter(None, paths))
    trust_workbooks()
    from jupyterlab.labapp import main as lab

    return lab(lab_arguments(workbook, extra))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

"""Every public function of toolkit.physics against the tests that call it and what they rest on.

Read from the code alone: imports, calls, comments and docstrings of the tests.
`python -m tests.truth_table` writes the table into DEVELOPERS.md.
"""

import ast
import re
from functools import cached_property
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PAGE = ROOT / "DEVELOPERS.md"
BLOCK = re.compile(r"(<!-- truth table -->\n).*?(<!-- end of truth table -->)", re.DOTALL)
PHYSICS = "toolkit.physics"
INNER = {"cycle_kernel"}  # the compiled inside of cycle.py, which is tested through it
LIBRARIES = {
    "cantera": "Cantera", "CoolProp.CoolProp": "CoolProp", "psychrolib": "PsychroLib",
    "fluids": "fluids", "ht.hx": "ht", "ambiance": "ambiance", "scipy.integrate": "scipy.integrate",
    "scipy.optimize": "scipy.optimize", "scipy.stats": "scipy.stats", "scipy": "scipy",
}  # fmt: skip
# A text that names where its numbers come from.
CITES = re.compile(
    r"\b(?:ISO|SAE|EN|JCGM|NIST|NASA|WMO|ICAO|IEE|trade press|trade-press|Shigley|Heywood|Cantera"
    r"|University|same (?:book|table)|second route|Rayleigh|Parseval|Arithmetic on|Handbook)\b"
    r"|\b(?:ex|sec|ch|eq)\. ?\(?[A-Z]?\d|\btable \d|\((?:19|20)\d\d\)"
    r"|species data|from memory|common practice|definition|by differentiation|closed form"
    r"|\bas printed|published|textbook|library|geometry|by another route|integral of|arithmetic",
    re.IGNORECASE,
)


class Source:
    """One file: what each of its top-level names uses and says."""

    def __init__(self, path):
        self.module = ".".join(path.relative_to(ROOT).with_suffix("").parts)
        self.lines = path.read_text(encoding="utf-8").splitlines()
        self.tree = ast.parse("\n".join(self.lines))

    @cached_property
    def imports(self):
        """{name in this file: dotted name}."""
        found = {}
        for node in ast.walk(self.tree):
            if isinstance(node, ast.ImportFrom) and node.module:
                found |= {a.asname or a.name: f"{node.module}.{a.name}" for a in node.names}
            elif isinstance(node, ast.Import):
                found |= {a.asname or a.name: a.name for a in node.names}
        return found

    @cached_property
    def parts(self):
        """{top-level name: its node}."""
        found = {}
        for node in self.tree.body:
            if isinstance(node, (ast.FunctionDef, ast.ClassDef)):
                found[node.name] = node
            elif isinstance(node, ast.Assign):
                for target in node.targets:
                    found |= {n.id: node for n in ast.walk(target) if isinstance(n, ast.Name)}
        return found

    def uses(self, node):
        """Dotted names that a node mentions: of other modules, and of this one."""
        for part in ast.walk(node):
            if isinstance(part, ast.Attribute) and isinstance(part.value, ast.Name):
                if part.value.id in self.imports:
                    yield f"{self.imports[part.value.id]}.{part.attr}"
            elif isinstance(part, ast.Name):
                if part.id in self.imports:
                    yield self.imports[part.id]
                elif part.id in self.parts:
                    yield f"{self.module}.{part.id}"
            elif isinstance(part, ast.arg) and part.arg in self.parts:  # a fixture
                yield f"{self.module}.{part.arg}"

    def words(self, node):
        """Comments and docstrings in a node and right above it, one text a block."""
        start = min([node.lineno, *(d.lineno for d in getattr(node, "decorator_list", ()))])
        while start > 1 and self.lines[start - 2].startswith("#"):
            start -= 1
        text = "\n".join(self.lines[start - 1 : node.end_lineno])
        blocks = re.findall(
            r"(?:^[ \t]*#[^\n]*\n?)+|\"\"\".*?\"\"\"", text, re.MULTILINE | re.DOTALL
        )
        return [
            " ".join(re.sub(r'^\s*#+ ?|"""', "", b, flags=re.MULTILINE).split()) for b in blocks
        ]


def public():
    """The public functions, as "gas.cp_air_j_kgk"."""
    found = []
    for path in sorted((ROOT / "toolkit/physics").glob("*.py")):
        if path.stem not in INNER:
            tree = ast.parse(path.read_text(encoding="utf-8"))
            found += [
                f"{path.stem}.{n.name}"
                for n in tree.body
                if isinstance(n, ast.FunctionDef) and not n.name.startswith("_")
            ]
    return found


def checks():
    """{public function: {test file: [what its tests say they rest on]}}."""
    sources = {s.module: s for s in map(Source, sorted((ROOT / "tests").glob("*.py")))}
    found = {name: {} for name in public()}
    for module, source in sources.items():
        for name in [n for n in source.parts if n.startswith("test_")]:
            reached = _reached(sources, module, name)
            said = _said(sources, reached)
            for dotted in reached:
                function = dotted.removeprefix(PHYSICS + ".")
                if function in found:
                    told = found[function].setdefault(module.removeprefix("tests."), [])
                    told += [s for s in said if s not in told]
    return found


def through(uncalled, called):
    """{function that no test calls: the tested function of the physics that it serves, or ""}."""
    sources = {s.module: s for s in map(Source, (ROOT / "toolkit/physics").glob("*.py"))}
    found = dict.fromkeys(uncalled, "")
    for name in called:
        module, _, part = name.rpartition(".")
        for dotted in _reached(sources, f"{PHYSICS}.{module}", part):
            inner = dotted.removeprefix(PHYSICS + ".")
            found |= {inner: name} if inner in found and not found[inner] else {}
    return found


def _reached(sources, module, name):
    """Everything that a test mentions, through the helpers that it calls."""
    found, waiting = set(), [f"{module}.{name}"]
    while waiting:
        dotted = waiting.pop()
        if dotted in found:
            continue
        found.add(dotted)
        at, _, part = dotted.rpartition(".")
        if at in sources and part in sources[at].parts:
            waiting += sources[at].uses(sources[at].parts[part])
    return found


def _said(sources, reached):
    """The sources that a test and its helpers name, and the libraries that they call."""
    said = []
    for dotted in sorted(reached):
        at, _, part = dotted.rpartition(".")
        if at in sources and part in sources[at].parts:
            words = sources[at].words(sources[at].parts[part])
            said += [_short(text) for text in words if CITES.search(text)]
        elif library := next((k for k in LIBRARIES if dotted == k or at == k), None):
            said.append(f"{LIBRARIES[library]}, called in the test")
    return said


def _short(text):
    """The sentence that cites, cut to a line."""
    pieces = re.split(r"(?<=[a-z0-9)%])[:;] |(?<=[a-z0-9)]{3})\. (?=[A-Z])", text)
    best = next((p for p in pieces if CITES.search(p)), text)
    return best.strip(" .") if len(best) <= 110 else best[:107].rsplit(" ", 1)[0] + " ..."


def text():
    """The table as Markdown."""
    rows = ["| function | tests | among what they rest on |", "|---|---|---|"]
    found = checks()
    served = through([f for f, t in found.items() if not t], [f for f, t in found.items() if t])
    for function, files in found.items():
        if not files:
            rows.append(f"| `{function}` | | through `{served[function]}` |")
            continue
        said = list(dict.fromkeys(s for told in files.values() for s in told))
        own = f"test_{function.split('.')[0]}"
        named = sorted(files, key=lambda f: (f != own, f))
        more = f" and {len(named) - 3} more" if len(named) > 3 else ""
        cell = (
            "; ".join(said[:3] or [f"{_opening(named[0])} (no source named)"])
            .replace("|", "\\|")
            .replace("<", "&lt;")
        )
        rows.append(f"| `{function}` | {', '.join(named[:3])}{more} | {cell} |")
    return "\n".join(rows) + "\n"


def _opening(file):
    """What a test file says of itself, else its name."""
    tree = ast.parse((ROOT / f"tests/{file}.py").read_text(encoding="utf-8"))
    return (ast.get_docstring(tree) or file).split("\n")[0].rstrip(".")


def main():
    page = PAGE.read_text(encoding="utf-8")
    PAGE.write_text(BLOCK.sub(lambda m: m[1] + text() + m[2], page), encoding="utf-8")


if __name__ == "__main__":
    main()

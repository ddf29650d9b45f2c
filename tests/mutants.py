"""Do quick tests notice a wrong program? ``python tests/mutants.py [NAME ...] [--each N]``.

Of each module some places are chosen at random, each is changed in one way, and its quick tests
are run in a process of their own: a comparison turned, an arithmetic sign exchanged, a constant
moved, `and` made `or`, a condition negated, a result dropped. A test that fails, or takes ten times
as long, kills the mutant. Those that live are printed, to be killed by a test or to be explained.
Kernels are run without compiling, as machine code is kept by the text of its file.

Some that live change nothing that a test could see:

- `<` made `<=` between computed numbers that never are equal: reach and shade of the arc, ends of a
  spot, shares, a peak less a tolerance, spread and `q2` of responses
- arc: a face edge on gets no heat either way; the order of the two Gauss points of a layer
- lap: one more sweep, in which nothing fills
- wetting: one more halving; what stands for a span of 0, or beside an equal branch
- chance: another seed of the points; what stands for a key that the case lacks; `strict` of lists
  made together
- sizes that are estimates (points, draws, `FAR`, `WIDER`): no test holds their last digit
"""

from __future__ import annotations

import argparse
import ast
import importlib
import os
import random
import signal
import subprocess
import sys
from collections.abc import Iterator
from copy import deepcopy
from pathlib import Path
from time import monotonic, sleep
from types import FunctionType, ModuleType

import pytest

ROOT = Path(__file__).parents[1]
ROOMS = "tests/rooms"
MODULES: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "arc": (("march.kernels.arc",), (f"{ROOMS}/march/test_arc.py",)),
    "lap": (("march.kernels.lap",), (f"{ROOMS}/march/test_lap.py",)),
    "rod": (("march.rod",), (f"{ROOMS}/march/test_rod.py",)),
    "schedule": (("joint.schedule",), (f"{ROOMS}/joint/test_schedule.py",)),
    "wetting": (("history.wetting",), (f"{ROOMS}/history/test_wetting.py",)),
    "verdict": (
        ("outcomes.verdict",),
        (f"{ROOMS}/outcomes/test_verdict_limits.py", f"{ROOMS}/outcomes/test_verdict.py"),
    ),
    "chance": (
        ("study.chance.smooth", "study.chance.bench", "study.chance.knob"),
        (f"{ROOMS}/study/test_chance.py", f"{ROOMS}/study/test_smooth.py"),
    ),
}
PLAIN = ("arc", "lap")  # run without compiling
TURNED: dict[type[ast.cmpop], type[ast.cmpop]] = {
    **{ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt},
    **{ast.Eq: ast.NotEq, ast.NotEq: ast.Eq, ast.Is: ast.IsNot, ast.IsNot: ast.Is},
    **{ast.In: ast.NotIn, ast.NotIn: ast.In},
}
EXCHANGED: dict[type[ast.operator], type[ast.operator]] = {
    **{ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult},
    **{ast.FloorDiv: ast.Mult, ast.Mod: ast.Mult, ast.Pow: ast.Mult},
}


def changed(node: ast.AST) -> Iterator[ast.AST]:
    """Every wrong version of one node."""
    new = deepcopy(node)
    if isinstance(new, ast.Compare):
        for i, sign in enumerate(new.ops):
            other = deepcopy(new)
            other.ops[i] = TURNED[type(sign)]()
            yield other
    elif isinstance(new, ast.BinOp | ast.AugAssign) and type(new.op) in EXCHANGED:
        new.op = EXCHANGED[type(new.op)]()
        yield new
    elif isinstance(new, ast.BoolOp):
        new.op = ast.Or() if isinstance(new.op, ast.And) else ast.And()
        yield new
    elif isinstance(new, ast.UnaryOp) and isinstance(new.op, ast.Not | ast.USub):
        yield new.operand
    elif isinstance(new, ast.Constant) and type(new.value) in (bool, int, float):
        new.value = not new.value if isinstance(new.value, bool) else new.value + 1
        yield new
    elif isinstance(new, ast.Return) and new.value is not None:
        new.value = ast.Constant(None)
        yield new
    elif isinstance(new, ast.If | ast.IfExp | ast.While):
        new.test = ast.UnaryOp(ast.Not(), new.test)
        yield new


def mutants(text: str) -> Iterator[tuple[str, ast.Module]]:
    """Yield what is changed, and the whole tree with it, of every mutant of a module.

    A changed tree is good until the next one is asked for. Decorators stay as they are: they were
    applied on import, and only functions and constants are exchanged.
    """
    tree = ast.parse(text)
    fixed = [d for node in ast.walk(tree) for d in getattr(node, "decorator_list", ())]
    kept = {id(part) for d in fixed for part in ast.walk(d)}
    for owner in [
        node
        for node in ast.walk(tree)
        if not isinstance(node, ast.AnnAssign | ast.arg) and id(node) not in kept
    ]:
        for name, value in ast.iter_fields(owner):
            if name in ("returns", "annotation", "decorator_list", "slice"):
                continue
            many = value if isinstance(value, list) else [value]
            for i, node in enumerate(many):
                for new in changed(node) if isinstance(node, ast.AST) else ():
                    ast.copy_location(new, node)
                    told = f"{node.lineno}: {ast.unparse(node)} -> {ast.unparse(new)}"
                    if isinstance(value, list):
                        value[i] = new
                    else:
                        setattr(owner, name, new)
                    yield " ".join(told.split())[:160], ast.fix_missing_locations(tree)
                    if isinstance(value, list):
                        value[i] = node
                    else:
                        setattr(owner, name, node)


def take_over(module: ModuleType, tree: ast.Module) -> None:
    """Give the functions of a module, wherever they are known, the code of a tree."""
    names = {**vars(module)}
    users = [each for each in [*sys.modules.values()] if isinstance(each, ModuleType)]
    exec(compile(tree, str(module.__file__), "exec"), names)

    def follow(old: object, new: object) -> None:
        old, new = getattr(old, "__wrapped__", old), getattr(new, "__wrapped__", new)
        if isinstance(old, FunctionType) and isinstance(new, FunctionType):
            if len(old.__code__.co_freevars) == len(new.__code__.co_freevars):
                old.__code__, old.__defaults__ = new.__code__, new.__defaults__
        elif isinstance(old, property) and isinstance(new, property):
            follow(old.fget, new.fget)
        elif isinstance(old, classmethod) and isinstance(new, classmethod):
            follow(old.__func__, new.__func__)
        elif isinstance(old, type) and old.__module__ == module.__name__:
            for name, value in [*vars(old).items()]:
                follow(value, vars(new).get(name))

    for name, new in names.items():
        old = vars(module).get(name)
        if getattr(old, "__module__", None) == module.__name__:
            follow(old, new)
        elif new is not old and not name.startswith("__"):
            for user in users:  # a test that names a constant is given the wrong one too
                if vars(user).get(name) is old:
                    setattr(user, name, new)


def verdict_of(
    module: ModuleType, tree: ast.Module, tests: tuple[str, ...], most: float
) -> tuple[str, float]:
    """Run tests in a child: "passed", "failed" or "late", and the time they took [s]."""
    start, child = monotonic(), os.fork()
    if child == 0:
        null = os.open(os.devnull, os.O_WRONLY)
        os.dup2(null, 1)
        os.dup2(null, 2)
        try:
            take_over(module, tree)
            code = pytest.main(["-x", "-q", "-p", "no:cacheprovider", *tests])
        except BaseException:  # a mutant may not even load
            code = 1
        os._exit(int(code))
    while monotonic() - start < most:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return "passed" if status == 0 else "failed", monotonic() - start
        sleep(0.005)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return "late", monotonic() - start


def hunt(name: str, each: int, seed: int) -> tuple[int, int]:
    """Mutants of one of `MODULES` that were tried, and how many of them were killed."""
    modules, tests = MODULES[name]
    pytest.main(["--collect-only", "-qq", "-p", "no:cacheprovider", *tests])  # imports, no run
    loaded = [importlib.import_module(f"lapheat.{dotted}") for dotted in modules]
    texts = [Path(str(module.__file__)).read_text("utf-8") for module in loaded]
    took = 0.0
    for module, text in zip(loaded, texts, strict=True):  # the same code anew must pass
        end, took = verdict_of(module, ast.parse(text), tests, 600.0)
        if end != "passed":
            raise SystemExit(f"{name}: its tests {end} without a mutant")
    rng, killed, tried = random.Random(f"{seed} {name}"), 0, 0
    for module, text in zip(loaded, texts, strict=True):
        count = sum(1 for _ in mutants(text))
        share = -(-each // len(modules))
        chosen = set(rng.sample(range(count), min(share, count)))
        for number, (told, tree) in enumerate(mutants(text)):
            if number in chosen:
                end, _ = verdict_of(module, tree, tests, 10.0 * took + 5.0)
                tried, killed = tried + 1, killed + (end != "passed")
                if end == "passed":
                    print(f"  lives: {module.__name__}:{told}", flush=True)
    print(f"{name}: {killed} of {tried} killed; its tests take {took:.1f} s", flush=True)
    return tried, killed


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*", default=[*MODULES])
    parser.add_argument("--each", type=int, default=30)
    parser.add_argument("--seed", type=int, default=17)
    parser.add_argument("--here", action="store_true", help="in this process; one name")
    given = parser.parse_args()
    if given.here:
        hunt(given.names[0], given.each, given.seed)
        sys.exit()
    for chosen in given.names:  # a process each: whether kernels are compiled is settled on import
        asked = [chosen, "--here", "--each", str(given.each), "--seed", str(given.seed)]
        plain = {"NUMBA_DISABLE_JIT": "1"} if chosen in PLAIN else {}
        subprocess.run([sys.executable, __file__, *asked], env={**os.environ, **plain}, check=False)

"""The house: who may import what, a short sorted public list, no file without its lines."""

import ast
import sys
from pathlib import Path

import pytest

import spreadmap

PACKAGE = Path(spreadmap.__file__).parent
ROWS = [
    ("values", {"values", "errors"}),
    ("engine", {"engine", "machine_code"}),
    ("biology", {"biology"}),
    ("dispersal", {"dispersal"}),
    ("pressure", {"pressure"}),
    ("records", {"records"}),
    ("epidemic", {"outbreak"}),
    ("choices", {"decisions"}),
    ("edge", {"io", "review"}),
    ("steps", {"pipeline_fit", "pipeline_history", "pipeline_pages", "pipeline_system"}),
    ("job", {"pipeline"}),
    ("skin", {"cli", "__main__"}),
]
OUTSIDE = {
    "values": {"numpy", "shapely"},
    "errors": set(),
    "engine": {"dask"},
    "machine_code": set(),
    "biology": {"numpy", "scipy", "shapely"},
    "dispersal": {"numpy", "numba", "scipy", "shapely"},
    "pressure": {"numpy", "numba", "scipy", "shapely"},
    "records": {"numpy", "shapely"},
    "outbreak": {"numpy", "numba", "scipy", "shapely"},
    "decisions": {"contourpy", "numpy", "scipy", "shapely"},
    "pipeline": {"numpy", "shapely"},
    "pipeline_fit": {"numpy"},
    "pipeline_history": set(),
    "pipeline_pages": set(),
    "pipeline_system": {"numpy"},
    "cli": {"rich", "typer"},
    "__main__": set(),
}
SKIN_MAY_USE = {"pipeline", "pipeline_fit", "pipeline_history", "values", "errors"}
EDGE_ONLY = {"pandas", "geopandas", "pyogrio", "rasterio", "pyproj", "folium", "branca", "reportlab", "matplotlib"}


def room_of(module: str) -> str:
    parts = module.split(".")
    return parts[1] if len(parts) > 1 else "spreadmap"


def imports_of(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            if node.module == "spreadmap":
                found |= {f"spreadmap.{alias.name}" for alias in node.names}
            else:
                found.add(node.module)
    return found


def rank(room: str) -> int:
    return next(index for index, (_, rooms) in enumerate(ROWS) if room in rooms)


MODULES = sorted(
    path for path in PACKAGE.rglob("*.py") if path != PACKAGE / "__init__.py" and "_demo" not in path.parts
)


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_a_room_imports_only_from_rooms_above(path):
    room = path.relative_to(PACKAGE).parts[0].removesuffix(".py")
    for module in imports_of(path):
        top = module.split(".")[0]
        if top == "spreadmap":
            other = room_of(module)
            if other == room:
                continue
            assert other != "spreadmap", f"{room} imports the package as a whole"
            if room == "cli" or room == "__main__":
                assert other in SKIN_MAY_USE or (room == "__main__" and other == "cli"), f"{room} imports {module}"
            else:
                assert rank(other) < rank(room) or {other, room} == {"values", "errors"}, f"{room} imports {module}"
        elif top not in sys.stdlib_module_names and top != "__future__" and room in OUTSIDE:
            assert top in OUTSIDE[room], f"{room} imports {module}"


def test_every_room_of_the_package_has_a_row():
    rooms = {path.relative_to(PACKAGE).parts[0].removesuffix(".py") for path in MODULES}
    assert rooms <= set().union(*(rooms for _, rooms in ROWS))


def test_data_frames_and_files_stay_at_the_edge():
    for path in MODULES:
        room = path.relative_to(PACKAGE).parts[0].removesuffix(".py")
        if room not in {"io", "review"}:
            tops = {module.split(".")[0] for module in imports_of(path)}
            assert not tops & EDGE_ONLY, path


def test_only_the_edge_opens_files():
    for path in MODULES:
        room = path.relative_to(PACKAGE).parts[0].removesuffix(".py")
        if room in {"io", "review", "machine_code"}:  # the last sees to the compiler's files alone
            continue
        calls = {
            getattr(node.func, "id", getattr(node.func, "attr", ""))
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
            if isinstance(node, ast.Call)
        }
        assert not calls & {"open", "read_text", "write_text", "read_bytes", "write_bytes", "mkdir", "unlink"}, path


def test_public_list_is_sorted_and_true():
    assert spreadmap.__all__ == sorted(spreadmap.__all__)
    for name in spreadmap.__all__:
        assert getattr(spreadmap, name) is not None
    assert set(spreadmap.__all__) <= set(dir(spreadmap))


def test_a_name_that_is_not_public_is_an_attribute_error():
    with pytest.raises(AttributeError, match="no attribute 'no_such_name'"):
        spreadmap.no_such_name  # noqa: B018


def test_no_file_is_two_things():
    for path in MODULES:
        lines = path.read_text(encoding="utf-8").count("\n")
        assert lines <= 520, f"{path} has {lines} lines"

"""The package holds what a user needs and nothing else, and its check finds what is wrong."""
import shutil
import zipfile
from pathlib import Path

import pytest
from build_package import FOLDERS, SINGLE, build, contents
from check_package import metadata_problems, package_problems

ROOT = Path(__file__).resolve().parents[1]


@pytest.fixture
def project(tmp_path):
    """A project of a few files, whole and clean: what a check finds here was put in by the test."""
    root = tmp_path / "project"
    for name in ("plugin/core/units.py", "plugin/core/tables/corn.csv",
                 "plugin/gui/spadework.svg", "styles/field.qml", "tests/test_units.py",
                 "plugin/core/__pycache__/units.cpython-311.pyc", "run"):
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).write_text('"""Units."""\n', "utf-8")
    for name in SINGLE:
        shutil.copy(ROOT / name, root / name)
    return root


def packed(project):
    build(project, project / "p.zip")
    return project / "p.zip"


def test_it_holds_what_a_user_needs_in_one_folder_and_no_tests_scripts_or_compiled_files(project):
    with zipfile.ZipFile(packed(project)) as package:
        assert package.namelist() == [f"spadework/{name}" for name in (
            "CHANGELOG.md", "LICENSE", "README.md", "__init__.py", "metadata.txt",
            "plugin/core/tables/corn.csv", "plugin/core/units.py", "plugin/gui/spadework.svg",
            "styles/field.qml")]


def test_the_same_sources_give_the_same_bytes_whenever_they_were_saved(project):
    first = packed(project).read_bytes()
    (project / "plugin/core/units.py").touch()
    (project / "plugin/core/units.py").chmod(0o755)
    assert packed(project).read_bytes() == first


def test_every_file_of_this_project_that_is_shipped_is_of_a_kind_that_it_may_hold():
    shipped = {path.relative_to(ROOT).parts[0] for path in contents(ROOT)}
    assert shipped == {*SINGLE, *FOLDERS}


@pytest.mark.parametrize("name", ["plugin/run.sh", "plugin/core/fast.so", "styles/.hidden.qml"])
def test_a_file_that_has_no_place_in_it_stops_the_build_and_leaves_no_package(project, name):
    (project / name).write_text("x", "utf-8")
    with pytest.raises(SystemExit, match=f"{name} is of a kind that the package does not hold"):
        packed(project)
    assert not list(project.glob("p.*"))


def test_a_missing_licence_stops_the_build(project):
    (project / "LICENSE").unlink()
    with pytest.raises(SystemExit, match="LICENSE is not there"):
        packed(project)


def test_a_clean_package_passes_the_check(project):
    assert package_problems(packed(project)) == []


def test_the_check_names_what_bandit_and_the_search_for_secrets_find_even_where_silenced(project):
    (project / "plugin/core/units.py").write_text(
        '"""Units."""\nimport hashlib\n\nSUM = hashlib.md5(b"a")  # nosec\n', "utf-8")
    # put together here, so that this file holds no such word itself
    (project / "plugin/key.txt").write_text(f"AKIA{'QRSTUVWX' * 2}\n", "utf-8")
    problems = package_problems(packed(project))
    assert len(problems) == 2
    assert problems[0].startswith("./plugin/core/units.py:4: B324")
    assert problems[1].startswith("plugin/key.txt:1: looks like a secret (AWS Access Key).")


def test_the_check_refuses_a_package_with_a_file_outside_its_folder(project):
    path = packed(project)
    with zipfile.ZipFile(path, "a") as package:
        package.writestr("spadework/../other.py", "")
    assert package_problems(path) == [
        "spadework/../other.py is not in the one folder spadework/."]


@pytest.mark.parametrize(("old", "new", "words"), [
    ("author=Spadework contributors\n", "", "author is missing"),
    ("hasProcessingProvider=yes", "hasProcessingProvider=maybe", "not of the form yes"),
    ("version=0.1.0", "version=first", r"version=first is not of the form"),
    ("name=Spadework", "name=Spadework QGIS", "must not hold"),
    ("experimental=True", "experimental=True\nsupportsQt6=True", "supportsQt6 is not accepted"),
    ("repository=https://", "repository=ftp://", "repository=ftp://"),
])
def test_the_check_of_the_metadata_names_the_key_that_is_wrong(old, new, words):
    text = (ROOT / "metadata.txt").read_text("utf-8")
    assert metadata_problems(text)[0] == []
    assert old in text
    problems, _ = metadata_problems(text.replace(old, new, 1))
    assert len(problems) == 1
    assert words in problems[0]

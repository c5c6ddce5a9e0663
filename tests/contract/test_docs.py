"""Every code, command, option and key is documented, and the pages are up to date."""

from __future__ import annotations

import ast
import importlib.util
import re
import tomllib

import click
import pytest

from tests.contract.house import PACKAGE, ROOT, modules, short, tracked_text, tree_of

DOCS = ROOT / "docs"
CODE = re.compile(r"[TNWCF]\d{3}")
LINK = re.compile(r"\]\(([^)#\s]+)(?:#[^)]*)?\)")


@pytest.fixture(scope="module")
def gen_docs():
    spec = importlib.util.spec_from_file_location("gen_docs", ROOT / "tools" / "gen_docs.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def commands(gen_docs):
    group = gen_docs.root_command()
    context = click.Context(group, info_name="ringout")
    found = {own.command_path: cmd for own, cmd in gen_docs.all_commands(group, context)}
    assert found, "the program has no commands"
    return found


def codes_in_source() -> dict[str, set[str]]:
    """Return where each code stands as text in the program (docstrings do not count)."""
    found: dict[str, set[str]] = {}
    for path in modules():
        for node in ast.walk(tree_of(path)):
            value = node.value if isinstance(node, ast.Constant) else None
            if isinstance(value, str) and CODE.fullmatch(value):
                found.setdefault(value, set()).add(short(path))
    return found


def test_codes_have_text(gen_docs):
    codes = gen_docs.read_codes()
    assert codes, "no codes"
    bare = [c for c, fields in codes.items() if len(next(iter(fields.values()), "").split()) < 3]
    assert not bare, f"codes without text: {bare}"


def test_codes_are_defined_once_and_no_other_key_hides_among_them(gen_docs):
    text = (PACKAGE / "base" / "codes.toml").read_text(encoding="utf-8")
    tomllib.loads(text)  # a code that stands twice is not valid TOML
    as_keys = re.findall(r"^\s*\[?\"?(?:codes\.)?([A-Z]\d+)\b", text, flags=re.MULTILINE)
    assert sorted(as_keys) == sorted(gen_docs.read_codes())


def test_every_code_the_program_gives_is_in_the_list(gen_docs):
    unknown = {c: w for c, w in codes_in_source().items() if c not in gen_docs.read_codes()}
    assert not unknown, f"not in base/codes.toml: {unknown}"


def test_every_code_in_the_list_is_given_by_the_program(gen_docs):
    unused = set(gen_docs.read_codes()) - set(codes_in_source())
    assert not unused, f"no module gives these codes: {sorted(unused)}"


@pytest.mark.parametrize("page", ["commands.md", "codes.md"])
def test_made_pages_are_up_to_date(gen_docs, page):
    path = DOCS / page
    assert path.exists(), "run `make docs`"
    assert path.read_text(encoding="utf-8") == gen_docs.PAGES[page](), "run `make docs`"


def test_every_command_and_option_is_explained(commands, gen_docs):
    page = gen_docs.commands_page()
    for path, command in commands.items():
        assert f"\n## {path}\n" in page
        assert (command.help or "").strip(), f"{path} has no help"
        section = page.split(f"\n## {path}\n")[1].split("\n## ")[0]
        for param in command.params:
            if isinstance(param, click.Option) and not param.hidden:
                assert (param.help or "").strip(), f"{path} {param.opts[0]} has no help"
                assert all(name in section for name in param.opts), (path, param.opts)


def test_every_command_answers_in_json_and_its_keys_are_documented(commands):
    page = (DOCS / "json.md").read_text(encoding="utf-8")
    for path, command in commands.items():
        if isinstance(command, click.Group):
            continue
        names = {name for param in command.params for name in param.opts}
        assert "--json" in names, f"{path} has no --json"
        assert f"\n## {path}\n" in page, f"docs/json.md has no section `{path}`"


PROMISED = {
    "ringout prove": (
        "signals name channel verdict on off v_low v_typ v_high i_typ_ma margin_v "
        "findings code severity message where file line column remedies text proven not_run"
    ),
    "ringout meter": "value low high unit why",
}


@pytest.mark.parametrize("path", PROMISED)
def test_promised_json_keys_are_documented(path):
    page = (DOCS / "json.md").read_text(encoding="utf-8")
    section = page.split(f"\n## {path}\n")[1].split("\n## ")[0]
    missing = [
        key for key in PROMISED[path].split() if not re.search(rf"`[^`\n]*\b{key}\b", section)
    ]
    assert not missing


def test_links_between_pages_lead_somewhere():
    broken = [
        f"{name}: {target}"
        for name, text in tracked_text()
        if name.endswith(".md")
        for target in LINK.findall(text)
        if not (ROOT / name).parent.joinpath(target).exists()
    ]
    assert not broken


def test_pages_name_only_commands_that_exist(commands):
    unknown = []
    for name, text in tracked_text():
        if name.endswith(".md"):
            used = re.findall(r"`(?:\.venv/bin/)?ringout ([a-z]+)", text)
            unknown += [f"{name}: ringout {w}" for w in used if f"ringout {w}" not in commands]
    assert not unknown

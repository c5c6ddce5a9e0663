from __future__ import annotations

import re

from ringout.base.codes import CODES
from tests.contract.house import PACKAGE

ORDER = "TNWCF"


def test_codes_stand_in_order():
    keys = re.findall(
        r"^\[(\w+)\]", (PACKAGE / "base" / "codes.toml").read_text("utf-8"), re.MULTILINE
    )
    assert keys == sorted(keys, key=lambda code: (ORDER.index(code[0]), code))


def test_every_code_says_what_and_why():
    for code, info in CODES.items():
        assert re.fullmatch(r"[TNWCF]\d{3}", code)
        assert len(info.title.split()) >= 3, code
        assert not info.title.endswith("."), code
        assert info.explanation.endswith("."), code
        assert info.explanation != info.title

"""The head of a printed page: its line of text and the rule below it."""

from __future__ import annotations

from contextlib import closing

import pypdfium2 as pdfium
import pypdfium2.raw as pdfium_c

from tests.unit.report.test_pack_pdf import ONE_BUTTON, POINT_MM, packed, pages_of

PATH = pdfium_c.FPDF_PAGEOBJ_PATH


def test_the_head_line_stands_clear_of_its_rule(tmp_path):
    path = tmp_path / "cell.yaml"
    text = ONE_BUTTON.replace("cell: One button", "cell: Gyp jig, paging py")  # descenders
    path.write_text(text, "utf-8")
    printed = packed(path, only="sheets")[1]
    printed_chars = pages_of(printed.content)
    with closing(pdfium.PdfDocument(printed.content)) as pdf:
        for n, page in enumerate(pdf):
            height = page.get_size()[1]
            boxes = [o.get_bounds() for o in page.get_objects() if o.type == PATH]
            rules = [height - b[3] for b in boxes if b[2] - b[0] > 170 / POINT_MM]
            rule = min(rules)
            assert rule < 20 / POINT_MM
            head = [c.bottom for c in printed_chars[n].chars if c.top < rule]
            assert head
            assert max(head) < rule - 0.3 / POINT_MM

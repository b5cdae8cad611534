"""The CSV forms: blank ones to fill, filled ones to records, with every fault listed at its line.

Spreadsheets are taken as they come: byte-order mark, commas, semicolons or tabs, decimal commas, trailing blanks,
column names in any case. Leading lines that start with "#" are notes. Lines are numbered as an editor shows them.

From the ground up: `table` (text to rows), `cells` (one cell to a value), `kinds` (which forms there are, and their
columns), `reader` (a row's common cells, gathering faults), `made` and `measured` (a row to records), `read` (a form to
records), `tiles` (the list of existing tiles), `write` (blank forms), `back` (a record to its cells). Pure: text in, records and faults out.
"""

from tilestudy.study.forms.back import cells_of
from tilestudy.study.forms.cells import nearest_codes, not_known, read_grade, scorer_mark
from tilestudy.study.forms.kinds import FORM_KINDS, kind_of
from tilestudy.study.forms.read import FormReading, read_entry, read_form
from tilestudy.study.forms.table import decode, header_of
from tilestudy.study.forms.tiles import TilesReading, read_tiles, write_tiles
from tilestudy.study.forms.write import add_rows, write_form

__all__ = [
    "FORM_KINDS",
    "FormReading",
    "TilesReading",
    "add_rows",
    "cells_of",
    "decode",
    "header_of",
    "kind_of",
    "nearest_codes",
    "not_known",
    "read_entry",
    "read_form",
    "read_grade",
    "read_tiles",
    "scorer_mark",
    "write_form",
    "write_tiles",
]

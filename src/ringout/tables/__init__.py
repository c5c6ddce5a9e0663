"""Room 1: reference data with units and sources, and the trade's closed formulas on them."""

from ringout.tables.reader import Row, Source, find_row, read_table, source, sources, table_names

__all__ = ["Row", "Source", "find_row", "read_table", "source", "sources", "table_names"]

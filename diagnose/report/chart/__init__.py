"""The wall chart: as text (text), or drawn (boxes, order, layout, svg) on one sheet of paper (sheet, page)."""

"""The field sheet: one page, both sides, from one set of blocks to HTML and PDF."""

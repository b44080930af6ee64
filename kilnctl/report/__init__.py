"""Everything that turns results into text, SVG and HTML."""

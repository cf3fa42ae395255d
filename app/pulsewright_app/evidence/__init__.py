"""The evidence sheet: what was claimed, what was measured and how well, as HTML and as PDF. No Qt."""

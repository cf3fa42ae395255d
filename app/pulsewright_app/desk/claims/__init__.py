"""The page on which claims are written: a form for one claim, a table of settings, drafting and saving."""

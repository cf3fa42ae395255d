"""The window, the command line and the evidence sheet: everything that a person sees."""

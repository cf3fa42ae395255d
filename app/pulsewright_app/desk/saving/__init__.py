"""What leaves the desk as a file: the evidence sheet, pictures of views, tables of numbers."""

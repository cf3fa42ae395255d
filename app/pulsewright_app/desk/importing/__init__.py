"""Bringing in recordings of other formats: what is understood of them, a preview, and the session made of them."""

"""A season of sessions against one claims file: found, measured on many machines, kept in one file, shown as trends."""

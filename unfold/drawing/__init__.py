"""Everything before becomes files that people open."""

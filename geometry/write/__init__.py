"""Writers of results: one file a format, each writing atomically."""

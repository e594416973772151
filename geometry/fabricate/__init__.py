"""Parts for machines and hands: kerf, tiles, nesting, printed parts, estimate."""

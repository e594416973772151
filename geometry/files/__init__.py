"""Writing files, one format a module, each written whole or not at all."""

"""Plates in register: artwork placed on its sheet, registration holes, traps."""

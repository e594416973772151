"""The job file: its tables and their limits; begin with ``load.load_job``."""

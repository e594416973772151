"""What tests of writing share."""

import signal

import pytest


@pytest.fixture
def small_disk():
    """Let the kernel refuse to write past 64 KiB of any file, as a full disk would."""
    resource = pytest.importorskip("resource")  # POSIX only
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    handler = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (65536, limits[1]))
    yield
    resource.setrlimit(resource.RLIMIT_FSIZE, limits)
    signal.signal(signal.SIGXFSZ, handler)

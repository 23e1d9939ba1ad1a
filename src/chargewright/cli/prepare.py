"""The command that compiles the numerical kernels ahead: set-up runs it, so that no study has to wait."""

import time

from chargewright.cli.progress import Line


def prepare() -> int:
    """Compile the numerical kernels once, so that later runs start at once; needed again after an update."""
    from chargewright.base.compiled import numba_module
    from chargewright.studies.prepare import prepare as compile_all

    if numba_module() is None:
        print("numba is not installed: nothing to compile, the plain form of each kernel serves (pip install numba)")
        return 0
    begin = time.perf_counter()
    with Line(quiet=False) as line:
        found = compile_all(line.tell)
    for kernel in found:
        outcome = kernel.trouble or (f"{kernel.seconds:.1f} s" if kernel.seconds else "there already")
        print(f"  {kernel.title}: {outcome}")
    failed = sum(1 for kernel in found if kernel.trouble)
    if failed:
        print(f"{failed} of {len(found)} kernels could not be compiled ahead: the first run that needs one will try.")
        return 1
    print(f"{len(found)} kernels ready after {time.perf_counter() - begin:.0f} s.")
    return 0

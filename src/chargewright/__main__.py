"""`python -m chargewright`."""

import sys

if __name__ == "__main__":
    try:
        from chargewright.cli.main import main

        sys.exit(main())
    except KeyboardInterrupt:
        sys.stderr.write("stopped; nothing was left half-written\n")
        sys.exit(130)

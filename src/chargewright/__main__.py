"""`python -m chargewright`."""

import sys

if __name__ == "__main__":
    try:
        from chargewright.cli.main import main

        sys.exit(main())
    except KeyboardInterrupt:
        print("stopped; nothing was left half-written", file=sys.stderr)
        sys.exit(130)

"""`python -m service.command`, the same as `hourmark`."""

from service.command import main

if __name__ == "__main__":
    main()

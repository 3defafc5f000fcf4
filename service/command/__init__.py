"""The `hourmark` command: every part of the engine that works on files.

Exit codes: 0 done; 1 a check did not hold (a worked case fails, a written JSON Schema is out of step); 2 the input was
refused, or the command was not understood; 3 a fault of the program itself; 141 whoever read the output, such as
`head`, stopped reading. What went wrong is printed to standard error, one fault a line.
"""

import sys


def main() -> None:
    """Run the command with the arguments of the process."""
    for stream in (sys.stdout, sys.stderr):
        # Decisions hold signs such as × and −; a terminal without them shows a question mark, never a traceback.
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")
    from service.command.app import app  # imported late, so that a broken stream is set right first

    app(prog_name="hourmark")

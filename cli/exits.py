"""The exit codes: what a script may rely on."""

from __future__ import annotations

FINE, ATTENTION, FAULT, NOT_MEASURABLE = 0, 10, 11, 12
USAGE, BAD_INPUT, NO_OUTPUT, OWN_DEFECT, STOPPED = 2, 20, 21, 70, 130

EXIT_CODES = {
    FINE: "fine, or the command did what it was asked",
    ATTENTION: "something deserves attention",
    FAULT: "a fault was found",
    NOT_MEASURABLE: "the recording cannot tell",
    USAGE: "the command line makes no sense",
    BAD_INPUT: "a recording or profile cannot be read or used",
    NO_OUTPUT: "a result cannot be written",
    OWN_DEFECT: "a defect of spinlab itself",
    STOPPED: "stopped from the keyboard; nothing half-written is left",
}

# The verdict's state as an exit code.
STATE_CODES = {
    "clear": FINE,
    "attention": ATTENTION,
    "fault": FAULT,
    "not measurable": NOT_MEASURABLE,
}

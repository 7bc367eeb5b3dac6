"""What a command would do, said for who stands at the table: under which button it is done here."""

import re

#: Words of the commands, and those of the table in their place. What has no button here keeps its command.
_BUTTONS = (
    (r"grader weigh \S+ (?:WEIGHT|\d+g)", "weigh it under Weigh in"),
    (r"grader haul new \S+ --raw WEIGHT begins one", "begin one under Weigh in"),
    (r"saw it: grader cutplan", "saw it: Sort shows its cut plan"),
    (r"grader batch its folder with --haul (\w+)", r"add it under Add photos, in haul \1"),
    (r"then grader batch\b", "then Add photos"),
    (r"grader calls --differ PAGE\.html", "Teach, Agreement"),
    (r"call some stones first: grader call", "call some stones first, under Sort"),
    (r"grader call it", "call it under Sort"),
    (r"\(grader call\)", "(call it under Sort)"),
    (r"\(--for MONEY, or grader prices set\)", "(grader prices set keeps a table)"),
    (r"grader check PHOTO --profile (\S+)", r"open the table with --profile \1"),
)  # fmt: skip


def said_here(text: str) -> str:
    """Return a line of the commands with the table's buttons in place of commands that it has buttons for."""
    for command, words in _BUTTONS:
        text = re.sub(command, words, text)
    return text

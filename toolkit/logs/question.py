"""What the reader says when a file cannot be used, or cannot be used without an answer."""

from dataclasses import dataclass


class LogError(ValueError):
    """A log that cannot be used; the message is one sentence that names the row or column."""


@dataclass(frozen=True)
class Question:
    """Something the file does not prove, with the readings that are plausible.

    key: where the answer is kept in the review, such as ("columns", "Boost", "reference").
    choices: pairs of answer and what it would mean for this file; empty where the answer is
    free text, and then `example` shows one. evidence: what the file does say.
    """

    key: tuple[str, ...]
    sentence: str
    choices: tuple[tuple[str, str], ...] = ()
    evidence: str = ""
    example: str = ""

    def checked(self, answer):
        """The answer, if it is one of the choices. Raises LogError otherwise."""
        answers = [choice for choice, _ in self.choices]
        if answers and answer not in answers:
            raise LogError(
                f"{answer!r} is no answer to '{self.sentence}': choose {_listed(answers)}"
            )
        return answer


class Unanswered(LogError):
    """The file cannot be read before `question` is answered."""

    def __init__(self, question):
        choices = [choice for choice, _ in question.choices]
        super().__init__(f"{question.sentence} {question.evidence} Answer {_listed(choices)}.")
        self.question = question


@dataclass(frozen=True)
class Decided:
    """One decision with what it rests on."""

    value: str
    evidence: str


def _listed(words):
    quoted = [f"'{w}'" for w in words]
    return quoted[0] if len(quoted) == 1 else ", ".join(quoted[:-1]) + " or " + quoted[-1]

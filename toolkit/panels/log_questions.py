"""A question of the reader with its evidence and the answers that are possible."""

import html

import ipywidgets as w
import traitlets as t

from toolkit.panels.base import paragraph, said, swap

_FEW = 5
_UNANSWERED = "choose ..."


class QuestionBox(w.VBox):
    """One question; `answer` is what the person chose, "" until then."""

    answer = t.Unicode()

    def __init__(self, question):
        self.question = question
        self.control = self._control(question)
        self.control.observe(self._take, "value")
        sentence = w.HTML(f"<b>{html.escape(question.sentence)}</b>")
        sentence.layout.margin = "0"
        super().__init__(
            [sentence, said(question.evidence), self.control],
            layout=w.Layout(margin="0 0 12px 0", max_width="860px"),
        )

    def _control(self, question):
        wide = w.Layout(width="auto", max_width="820px")
        if not question.choices:
            return w.Text(placeholder=f"like {question.example}", continuous_update=False)
        options = [(_words(answer, meaning), answer) for answer, meaning in question.choices]
        if len(options) <= _FEW:
            return w.RadioButtons(options=options, value=None, layout=wide)
        return w.Dropdown(options=[(_UNANSWERED, ""), *options], layout=w.Layout(width="360px"))

    def _take(self, change):
        if change.new:
            self.answer = change.new


def _words(answer, meaning):
    return f"{answer}: {meaning}" if meaning and meaning != answer else answer


class Questions(w.VBox):
    """The open questions of a log; on_answer(key, answer) is called for each that is answered."""

    def __init__(self, on_answer):
        self._on_answer = on_answer
        self.boxes = ()
        self.heading, self.list = w.HTML(), w.VBox()
        super().__init__([self.heading, self.list])
        self.show(())

    def show(self, questions):
        """Ask these questions; a box that stands there already is left as it is."""
        standing = {box.question: box for box in self.boxes if not box.answer}
        boxes = tuple(standing.pop(q, None) or self._box(q) for q in questions)
        self.boxes = boxes
        count = f"{len(boxes)} question{'s' if len(boxes) > 1 else ''} to answer"
        self.heading.value = paragraph(count if boxes else "", "dp-group")
        swap(self.list, boxes)

    def _box(self, question):
        box = QuestionBox(question)
        box.observe(lambda change: self._on_answer(question.key, change.new), "answer")
        return box

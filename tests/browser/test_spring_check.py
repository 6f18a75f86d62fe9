from conftest import OPEN, sees, shoot, type_into


def findings(page):
    return page.locator(f"{OPEN} .dp-finding").all_inner_texts()


def drag_right(page, label, steps):
    """Move the slider with this label by keys, as a hand would."""
    row = f"{OPEN} .widget-hbox:has(> .widget-label:text-is('{label}'))"
    handle = page.locator(f"{row} .noUi-handle").first
    handle.focus()
    for _ in range(abs(steps)):
        handle.press("ArrowRight" if steps > 0 else "ArrowLeft")


def drawn(page, column):
    """What the browser itself holds of this column, over all figures."""
    return page.evaluate(
        """(column) => Bokeh.documents.flatMap(d => [...d._all_models.values()]
          .filter(m => m.type === 'ColumnDataSource' && m.data[column])
          .map(m => JSON.stringify(Array.from(m.data[column], v => Array.from(v)))))""",
        column,
    )


def test_opens_on_the_demo_pull_and_its_verdict(open_workbook):
    page = open_workbook("04_spring_check")
    assert "Pushed open by back pressure." in findings(page)
    shoot(page, "04_spring_check")
    sees(page, "on that spring alone boost would be about")


def test_the_sketch_and_the_window_move_with_the_sliders(open_workbook):
    page = open_workbook("04_spring_check")
    before, shapes = findings(page), drawn(page, "xs")
    drag_right(page, "Spring", -6)
    sees(page, "it is pushed open from")
    assert findings(page) != before
    assert drawn(page, "xs") != shapes
    shoot(page, "04_spring_check_lighter")


def test_typed_springs_change_the_verdict_and_a_wrong_one_is_refused(open_workbook):
    page = open_workbook("04_spring_check")
    type_into(page, "Spring", "14 lb")
    sees(page, "is not a boost", ".dp-wrong")
    assert "Pushed open by back pressure." in findings(page)
    type_into(page, "Spring", "14 psi")
    sees(page, "already held shut")
    page.locator(f"{OPEN} .widget-toggle-buttons button:not(.mod-active)").first.click()
    sees(page, " kPa of ")
    type_into(page, "Moving mass", "190 g")
    sees(page, "the valve leaves its cam", ".dp-finding")
    shoot(page, "04_spring_check_other_units")

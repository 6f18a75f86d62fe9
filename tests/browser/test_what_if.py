from conftest import OPEN, sees, settle, shoot, type_into


def finding(page, which=0):
    return page.locator(f"{OPEN} .dp-finding").nth(which).inner_text()


def drawn_x(page):
    """The x of the first curve of the first chart, and the range of its axis, in the browser."""
    return page.evaluate(
        """() => { const d = Bokeh.documents.find(d => d.roots().length);
        const all = [...d._all_models.values()];
        const s = all.find(m => m.type === 'ColumnDataSource'
          && m.data.ys && m.data.dash && m.data.ys.length >= 4);
        const f = all.find(m => m.type === 'Figure');
        return [s.data.xs.length, f.x_range.start, f.x_range.end] }"""
    )


def test_opens_fitted_and_follows_a_change(open_workbook):
    page = open_workbook("05_what_if")
    assert "Small, 20.0 psi:" in finding(page) or "Small, 138" in finding(page)
    curves, start, end = drawn_x(page)
    assert curves >= 6 and 2000 < start < 2600 and end > 6500
    shoot(page, "05_what_if")

    type_into(page, "Gate spring", "11 psi")
    sees(page, "gate spring", ".dp-finding")
    assert page.locator(f"{OPEN} .dp-verdict", has_text="pushes the gate open").count() == 0
    type_into(page, "Gate spring", "")
    sees(page, "pushes the gate open", ".dp-verdict")

    type_into(page, "Target boost", "14 lb")
    sees(page, "14 lb", ".dp-wrong")


def test_a_size_in_between_and_the_trade(open_workbook):
    page = open_workbook("05_what_if")
    handle = page.locator(f"{OPEN} .widget-slider .noUi-handle").first
    handle.focus()
    for _ in range(4):
        handle.press("ArrowRight")
    sees(page, "of the way from Small to Large", ".dp-finding")
    page.get_by_role("button", name="Work out the trade").click()
    sees(page, "s to boost", ".dp-finding")
    settle(page)
    assert "boost from" in finding(page, 1)
    shoot(page, "05_what_if_trade")


def test_fit_again_with_one_run_and_no_second_turbo(open_workbook):
    page = open_workbook("05_what_if")
    page.locator(f"{OPEN} .widget-select-multiple select").first.select_option(
        label="2026-04-18_1_small_8psi_dyno.csv"
    )
    sees(page, "Press Fit to use the new choice")
    build = page.locator(f"{OPEN} .widget-dropdown select").nth(1)
    build.select_option(label="none")
    page.get_by_role("button", name="Fit", exact=True).click()
    sees(page, "fitted to 46 points of 1 turbo", ".dp-method")
    page.get_by_role("button", name="Work out the trade").click()
    sees(page, "only Small was run", ".dp-wrong")


def test_the_road_follows_its_gear_and_takes_what_is_set_above(open_workbook):
    page = open_workbook("05_what_if")
    sees(page, "In 4th gear (1.18), from 3000 rpm", ".dp-finding")
    gear = page.locator(f"{OPEN} .widget-hbox:has(> .widget-label:text-is('Gear')) select")
    gear.select_option(label="2nd")
    sees(page, "In 2nd gear (2.12)", ".dp-finding")
    type_into(page, "Slope", "8 %")
    sees(page, "up a slope of 8.0%", ".dp-method")
    handle = page.locator(f"{OPEN} .widget-slider .noUi-handle").first
    for _ in range(12):
        handle.press("ArrowRight")
    sees(page, "Still drawn here: Small, 20.0 psi")
    page.get_by_role("button", name="Use what is set above").press("Enter")
    sees(page, "in between: 30% of the way from Small to Large", ".dp-method")
    shoot(page, "05_what_if_road")
    page.set_viewport_size({"width": 1024, "height": 900})
    settle(page)
    shoot(page, "05_what_if_road_1024")
    type_into(page, "Pull from", "900 rpm")
    sees(page, "it must be between 2000 rpm and 6300 rpm", ".dp-wrong")

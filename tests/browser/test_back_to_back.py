from conftest import OPEN, sees, shoot, type_into


def finding(page):
    return page.locator(f"{OPEN} .dp-finding").first.inner_text()


def drawn_torque(page):
    """What the browser itself holds for the first curve of the first chart."""
    return page.evaluate(
        """() => { const d = Bokeh.documents.find(d => d.roots().length);
        const s = [...d._all_models.values()].find(m => m.type === 'ColumnDataSource'
          && m.data.ys && m.data.dash && m.data.ys.length >= 2);
        return Array.from(s.data.ys[0]).slice(0, 20) }"""
    )


def test_opens_on_the_demo_and_follows_the_controls(open_workbook):
    page = open_workbook("03_back_to_back")
    assert "Large makes" in finding(page)
    before, torque = finding(page), drawn_torque(page)

    page.locator(f"{OPEN} .widget-toggle-buttons button:not(.mod-active)").first.click()
    sees(page, " hp more" if "kW" in before else " kW more", ".dp-finding")
    assert finding(page) != before
    assert drawn_torque(page) != torque
    shoot(page, "03_back_to_back_other_units")

    type_into(page, "Averages from", "5000 rpm")
    type_into(page, "to", "6500 rpm")
    sees(page, "from 5000 to 6500 rpm")


def test_a_range_without_data_is_said_and_the_picture_stays(open_workbook):
    page = open_workbook("03_back_to_back")
    before = finding(page)
    type_into(page, "Averages from", "9000 rpm")
    sees(page, "the pulls have", ".dp-wrong")
    assert finding(page) == before
    type_into(page, "Averages from", "9000 lb")
    sees(page, "is not an engine speed", ".dp-wrong")


def test_a_finding_is_saved_into_the_bench(lab, open_workbook):
    page = open_workbook("03_back_to_back")
    page.get_by_role("button", name="Save as a finding").click()
    sees(page, "Saved in explain/")
    saved = list((lab.root / "data_demo" / "explain").glob("*/finding.toml"))
    assert saved and "Large" in saved[0].read_text()

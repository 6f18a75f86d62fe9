from conftest import OPEN, sees, shoot, type_into


def findings(page):
    return page.locator(f"{OPEN} .dp-finding").all_inner_texts()


def drag(page, label, steps):
    """Move the slider with this label by keys, as a hand would."""
    row = page.locator(f"{OPEN} .widget-hbox:has(> .widget-label:text-is('{label}'))").first
    handle = row.locator(".noUi-handle").first
    handle.focus()
    for _ in range(abs(steps)):
        handle.press("ArrowRight" if steps > 0 else "ArrowLeft")


def drawn(page):
    """Every curve that the browser itself holds."""
    return page.evaluate(
        """() => Bokeh.documents.flatMap(d => [...d._all_models.values()]
          .filter(m => m.type === 'ColumnDataSource' && m.data.xs)
          .map(m => JSON.stringify(Array.from(m.data.ys, v => Array.from(v)))))"""
    )


def test_from_target_to_saved_build(open_workbook, lab):
    """One sitting: open, type, be refused, drag, choose, change units, save."""
    page = open_workbook("01_sizing_worksheet")
    said = " ".join(findings(page))
    assert "Large makes most" in said and "Small is on target first" in said
    sees(page, "back pressure pushes the gate open")
    shoot(page, "01_sizing_worksheet")

    before, curves = findings(page), drawn(page)
    type_into(page, "Target boost", "14 psi")
    sees(page, "Small at 14.0 psi")
    assert findings(page) != before
    assert drawn(page) != curves
    type_into(page, "Target boost", "14 lb")
    sees(page, "is not a boost", ".dp-wrong")
    sees(page, "Still used: 14.0 psi", ".dp-wrong")
    assert "Small at 14.0 psi" in " ".join(findings(page))

    curves = drawn(page)
    drag(page, "Boost above target", 8)
    sees(page, "Small at 18.0 psi")
    assert drawn(page) != curves
    row = f"{OPEN} .widget-hbox:has(> .widget-label:text-is('Candidate')) select"
    page.locator(row).first.select_option(label="Large")
    sees(page, "Large at 18.0 psi")
    shoot(page, "01_sizing_worksheet_moved")

    page.locator(f"{OPEN} .widget-toggle-buttons button:not(.mod-active)").first.click()
    sees(page, "Large at 124.1 kPa")
    field = page.locator(f"{OPEN} .widget-hbox:has(> .widget-label:text-is('Save as')) input").first
    field.fill("builds/typed in the browser.toml")
    field.press("Enter")
    page.get_by_role("button", name="Save the build").click()
    sees(page, "Saved as builds/typed in the browser.toml")
    saved = lab.root / "data_demo" / "builds" / "typed in the browser.toml"
    assert 'name = "Large"' in saved.read_text(encoding="utf-8")

"""What a matched candidate asks of fuel, charge cooler and pipes; a panel of the sizing sheet."""

import ipywidgets as w

from toolkit import units
from toolkit.analysis import sizing
from toolkit.charts import sizing_pictures as pictures
from toolkit.panels.base import UNITS, Chart, Quantity, group, paragraph, table
from toolkit.panels.sizing_sheet import SheetPanel
from toolkit.physics.fuel import FUELS
from toolkit.physics.pipes import SPEED_LIMIT_M_S


class SupplyPanel(SheetPanel):
    """What the chosen candidate asks of fuel, charge cooler and pipes."""

    def __init__(self, sheet):
        super().__init__(sheet)
        bind = self.bind
        self.duty = Quantity("Duty limit", "fraction", 0.85, 0.3, 1.0)
        self.seconds = Quantity("A pull lasts", "time", 12.0, 0.5, 600)
        self.warm = Quantity("Tank limit", "temperature", 303.15, 274, 372)
        self.speed = Quantity(
            "Air speed limit", "gas_speed", SPEED_LIMIT_M_S, 10, 200, hint="common practice"
        )
        self.watch(self.duty, self.seconds, self.warm, self.speed)
        follow = [("follows boost", True), ("does not", False)]
        fuel = group(
            "Fuel",
            self.choose(
                "Fuel", list(dict.fromkeys([sheet.build.fuel.name, *FUELS])), "fuel", "name"
            ),
            bind("Injectors' flow", "fuel", "injector_flow_m3_s"),
            bind("rated at", "fuel", "injector_test_pa"),
            bind("Rail pressure", "fuel", "rail_gauge_pa", hint="above manifold, or above cell"),
            self.choose("Rail", follow, "fuel", "rail_follows_boost"),
            self.duty,
        )
        cooler = group(
            "Charge cooler",
            bind("Effectiveness", "cooler", "effectiveness"),
            bind("Medium comes in at", "cooler", "t_medium_k"),
            bind("Pressure drop", "cooler", "drop", "drop_pa"),
            bind("at air flow", "cooler", "drop", "flow_kg_s"),
        )
        tank = group(
            "Water tank",
            bind("Water", "cooler", "tank", "water_kg"),
            bind("Ice", "cooler", "tank", "ice_kg"),
            bind("Filled at", "cooler", "tank", "start_k", hint="with ice: 0 °C"),
            self.seconds, self.warm,
        )  # fmt: skip
        self.fuel_chart, self.cooler_chart = Chart(self._fuel()), Chart(self._cooler())
        self.pipes = w.HTML()
        self.compose(
            [fuel, cooler, tank, group("Pipes", self.speed)],
            [self.fuel_chart, self.cooler_chart, self.pipes],
        )

    def _fuel(self):
        sheet, limit = self.sheet, self.duty.value
        found = sizing.fuelling(sheet.made, sheet.chosen, limit)
        return pictures.fuel_picture(sheet.made, sheet.chosen, found, limit, UNITS.system)

    def _cooler(self):
        sheet = self.sheet
        return pictures.cooler_picture(
            sheet.made, sheet.chosen, sheet.build.cooler.tank, self.seconds.value,
            self.warm.value, UNITS.system,
        )  # fmt: skip

    def redraw(self):
        """Draw fuel and cooler, list the pipes."""
        self.fuel_chart.show(self._fuel())
        self.cooler_chart.show(self._cooler())
        sheet = self.sheet
        rows = [
            (where, units.text(d, "length", UNITS.system))
            for where, d in sizing.pipe_rows(sheet.made, sheet.chosen, self.speed.value)
        ]
        limit = units.text(self.speed.value, "gas_speed", UNITS.system)
        name = sheet.made.names[sheet.chosen]
        head = paragraph(
            f"Inner pipe diameter that keeps the air below {limit}, {name}", "dp-group"
        )
        self.pipes.value = head + table(rows, ("pipe", "at least"))

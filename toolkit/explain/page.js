// The published page: draws the chart, follows the cursor, hides and shows runs.
// Words from the person's files only ever become text: textContent and canvas, never markup.
(async () => {
  "use strict";
  const story = JSON.parse(document.getElementById("story").textContent);
  await Bokeh.embed.embed_item(story.item, "chart");
  const charts = Bokeh.documents[Bokeh.documents.length - 1];
  const model = (id) => charts.get_model_by_id(id);

  // Everything drawn in a run's colour belongs to it and comes and goes with it.
  const nothing = (v, name) => (typeof v === "number" ? NaN : Array.isArray(v) || ArrayBuffer.isView(v) ? [] : name === "text" ? "" : v);
  const whole = story.sources.map((id) => ({ ...model(id).data }));
  function show() {
    const hidden = new Set();
    for (const box of document.querySelectorAll("[data-run]"))
      if (!box.checked) story.runs[box.dataset.run].colours.forEach((c) => hidden.add(c));
    story.sources.forEach((id, place) => {
      const all = whole[place];
      const kept = Array.from(all.colour).map(
        (colour, row) =>
          !hidden.has(colour) &&
          !(small && story.words.includes(id) && !story.kept.includes(all.text?.[row])),
      );
      // A row that is hidden stays, without a place: a text that loses rows fails to draw.
      const data = {};
      for (const name of Object.keys(all))
        data[name] = Array.from(all[name], (v, row) => (kept[row] ? v : nothing(v, name)));
      model(id).data = data;
    });
    read();
  }
  for (const box of document.querySelectorAll("[data-run]")) box.addEventListener("change", show);

  const slider = document.getElementById("cursor");
  const table = document.querySelector("#readout tbody");
  const value = (curve, at) => {
    if (!curve) return null;
    for (let k = 1; k < curve.x.length; k++) {
      const [x0, x1, y0, y1] = [curve.x[k - 1], curve.x[k], curve.y[k - 1], curve.y[k]];
      if (at < x0 || at > x1) continue;
      if (at === x0) return y0;
      if (at === x1) return y1;
      return y0 === null || y1 === null ? null : y0 + ((y1 - y0) * (at - x0)) / (x1 - x0);
    }
    return null;
  };
  const words = (number, decimals, sign) => {
    if (number === null || number === undefined) return "not known";
    const text = Math.abs(number).toFixed(decimals);
    if (Number(text) === 0) return text;
    return (number < 0 ? "−" : sign ? "+" : "") + text;
  };
  const shown = (run) => document.querySelector(`[data-run="${run}"]`)?.checked ?? true;
  const cell = (row, text, tag = "td") => {
    const made = document.createElement(tag);
    if (tag === "th") made.scope = "row";
    made.textContent = text;
    row.append(made);
  };
  function read() {
    if (!slider) return;
    const at = Number(slider.value);
    const place = `${slider.value}${story.unit}`;
    document.getElementById("place").textContent = place;
    slider.setAttribute("aria-valuetext", place);
    table.replaceChildren(
      ...story.rows.map((entry) => {
        const row = document.createElement("tr");
        cell(row, entry.name, "th");
        const numbers = entry.runs.map((curve) => value(curve, at));
        entry.runs.forEach((curve, run) =>
          cell(row, !curve || !shown(run) ? "" : words(numbers[run], entry.decimals)),
        );
        if (story.difference) {
          const both = numbers.length === 2 && entry.runs.every(Boolean);
          const gap = both && numbers.every((n) => n !== null) ? numbers[1] - numbers[0] : null;
          const share = entry.other ? value(entry.other, at) : gap;
          cell(row, both || entry.other ? words(share, entry.decimals, true) : "");
        } else if (story.value) {
          cell(row, entry.other ? words(value(entry.other, at), entry.decimals) : "");
        }
        return row;
      }),
    );
  }
  // On a narrow screen the words of marks would lie on the curves: they stand below the chart.
  let small = false;
  function narrow(now) {
    if (now === small) return;
    small = now;
    show();
  }

  // The curves' names need room right of the axis, whatever the width of the screen is.
  const pen = document.createElement("canvas").getContext("2d");
  pen.font = story.font;
  const wrapped = (text, width) => {
    const lines = [""];
    for (const word of text.split(" ")) {
      const longer = lines.at(-1) ? `${lines.at(-1)} ${word}` : word;
      if (lines.at(-1) && pen.measureText(longer).width > width) lines.push(word);
      else lines[lines.length - 1] = longer;
    }
    return lines.join("\n");
  };
  const widest = Math.max(0, ...story.names.map((name) => pen.measureText(name).width));
  const [left, right] = story.limits;
  const holder = document.getElementById("chart");
  const fit = () => {
    const width = holder.clientWidth - story.borders;
    const room = story.names.length ? Math.min(widest + 16, 0.5 * width) : 8;
    for (const { id, title, height } of story.shared) {
      const figure = model(id);
      const lines = wrapped(title, width / 1.15); // the title is a little larger, and bold
      const more = 17 * (lines.split("\n").length - 1);
      const { text } = figure.title; // plain text, never set as mathematics
      if (text.text !== lines) figure.title.text = new text.constructor({ text: lines });
      if (figure.height !== height + more) figure.height = height + more;
      figure.min_border_top = 24 + more;
      figure.x_range.end = right + ((right - left) * room) / (width - room);
      for (const axis of figure.below)
        axis.ticker.desired_num_ticks = Math.max(2, Math.min(8, Math.floor((width - room) / 70)));
    }
    narrow(width < 520);
  };
  new ResizeObserver(fit).observe(holder);
  fit();

  const spans = story.cursors.map(model);
  const move = (at) => {
    slider.value = at;
    const snapped = Number(slider.value);
    for (const span of spans) if (span.location !== snapped) span.location = snapped;
    read();
  };
  if (slider) {
    slider.addEventListener("input", () => move(slider.value));
    for (const span of spans)
      span.properties.location.change.connect(() => {
        if (Math.abs(span.location - slider.value) > Number(slider.step) / 2) move(span.location);
      });
    move(slider.value);
  }
  document.documentElement.dataset.ready = "yes";
})();

"use strict";
// Live charts: choices switch curves on and off, the pointer or the slider reads them. The drawing is uPlot's.
(() => {
  const dark = matchMedia("(prefers-color-scheme: dark)");
  const colourOf = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  const make = (tag, attributes = {}, ...children) => {
    const node = document.createElement(tag);
    for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
    node.append(...children);
    return node;
  };
  const OCTAVES = [20, 31.5, 63, 125, 250, 500, 1000, 2000, 4000, 8000, 16000];
  const hertz = (value) => (value < 1000 ? String(value) : `${value / 1000}k`);

  function choices(chart, changed) {
    const groups = [{ name: "Quantity", choice: "one", options: chart.quantities.map((one) => one.name), chosen: [0] }];
    groups.push(...chart.facets);
    const chosen = groups.map((group) => new Set(group.chosen));
    const fields = groups.map((group, index) => {
      const name = `${chart.id}-${index}`;
      const field = make("fieldset", {}, make("legend", {}, group.name));
      group.options.forEach((option, place) => {
        const input = make("input", { type: group.choice === "one" ? "radio" : "checkbox", name });
        input.checked = chosen[index].has(place);
        input.addEventListener("change", () => {
          if (group.choice === "one") chosen[index].clear();
          if (input.checked) chosen[index].add(place);
          else chosen[index].delete(place);
          changed();
        });
        field.append(make("label", {}, input, option));
      });
      return group.options.length > 1 ? field : "";
    });
    return { fields, quantity: () => [...chosen[0]][0], shows: (series) => series.at.every((at, i) => chosen[i + 1].has(at)) };
  }

  // One curve becomes up to three: clear, read with care (thin), below the floor (dotted).
  function strokes(series, index, quantity) {
    const values = series.values[index];
    const colour = series.colours[dark.matches ? 1 : 0];
    if (series.ground) return [{ values, style: { stroke: colour, fill: colour, fillTo: () => quantity.low, width: 1 } }];
    const part = (mark, style) => {
      const inside = (row) => (series.marks ? series.marks[row] : ".") === mark;
      const rows = values.map((value, row) => (inside(row) || inside(row + 1) ? value : null));
      return { values: rows, style: { stroke: colour, ...style } };
    };
    const clear = part(".", { width: series.width, dash: series.dashes });
    if (!series.marks) return [clear];
    return [clear, part("?", { width: Math.min(0.9, series.width) }), part("<", { width: 0.9, dash: [1, 4] })];
  }

  function axes(quantity) {
    const line = { stroke: colourOf("--line"), width: 1 };
    const common = { stroke: colourOf("--ink"), font: "12px system-ui, sans-serif", labelFont: "13px system-ui, sans-serif", grid: line, ticks: line };
    const powers = [];
    for (let power = -6; power <= 4; power++) powers.push(Number(`1e${power}`));
    const narrow = innerWidth < 640;
    const shownOctaves = OCTAVES.filter((_, index) => !narrow || index % 2 === 0);
    return [
      { ...common, label: "Frequency in Hz", splits: () => shownOctaves, filter: (u, s) => s, values: (u, s) => s.map(hertz) },
      {
        ...common,
        label: quantity.label,
        size: 58,
        ...(quantity.logarithmic
          ? { splits: () => powers.filter((one) => one >= 0.999 * quantity.low && one <= 1.001 * quantity.high), filter: (u, s) => s, values: (u, s) => s.map(String) }
          : { splits: () => Array.from({ length: 11 }, (_, i) => quantity.high - ((10 - i) * (quantity.high - quantity.low)) / 10), values: (u, s) => s.map((v) => String(Math.round(100 * v) / 100)) }),
      },
    ];
  }

  const number = (value, quantity) =>
    `${quantity.unit === "%" ? String(Number(value.toPrecision(3))) : value.toFixed(quantity.high - quantity.low > 20 ? 1 : 2)} ${quantity.unit}`;

  function reading(series, row, quantityIndex, quantity) {
    const value = series.values[quantityIndex][row];
    if (value === null || value === undefined) return "not measurable";
    const mark = series.marks ? series.marks[row] : ".";
    return { ".": "", "?": "? ", "<": "below floor: " }[mark] + number(value, quantity);
  }

  function swatch(series) {
    const colour = series.colours[dark.matches ? 1 : 0];
    const picture = document.createElementNS("http://www.w3.org/2000/svg", "svg");
    const line = document.createElementNS("http://www.w3.org/2000/svg", "line");
    for (const [key, value] of Object.entries({ width: 30, height: 10, "aria-hidden": "true" })) picture.setAttribute(key, value);
    const stroke = { x1: 0, y1: 5, x2: 30, y2: 5, stroke: colour, "stroke-width": series.ground ? 9 : series.width, "stroke-dasharray": series.dashes.join(" ") };
    for (const [key, value] of Object.entries(stroke)) line.setAttribute(key, value);
    picture.append(line);
    return picture;
  }

  function start(place, chart) {
    const plot = make("div", { class: "plot" });
    const at = make("p", { class: "at" });
    const values = make("ul", { class: "values" });
    const last = chart.rows.length - 1;
    const slider = make("input", { type: "range", min: 0, max: last, step: 1, "aria-label": `Frequency at which to read: ${chart.title}` });
    const picked = choices(chart, draw);
    const hint = make("p", { class: "hint" }, "Point at the chart, or move the slider with the arrow keys, to read the curves. ? is to be read with care.");
    let row = chart.x.findIndex((hz) => hz >= 999.9);
    if (row < 0 || row > last) row = last >> 1;
    let drawn = null;

    function read() {
      const index = picked.quantity();
      const visible = chart.series.filter(picked.shows);
      const said = visible.map((series) => `${series.name}: ${reading(series, row, index, chart.quantities[index])}`);
      at.textContent = chart.rows[row];
      slider.value = String(row);
      slider.setAttribute("aria-valuetext", [chart.rows[row], ...said.slice(0, 8)].join("; "));
      values.replaceChildren(
        ...visible.map((series) => make("li", {}, swatch(series), series.name, make("b", {}, reading(series, row, index, chart.quantities[index])))),
      );
    }

    function point() {
      const hz = chart.steps ? Math.sqrt(chart.x[row] * chart.x[row + 1]) : chart.x[row];
      drawn.setCursor({ left: drawn.valToPos(hz, "x"), top: 0 });
    }

    function follow(event) {
      const hz = drawn.posToVal(event.clientX - drawn.over.getBoundingClientRect().left, "x");
      const nearest = chart.steps ? chart.x.findLastIndex((edge) => edge <= hz) : drawn.valToIdx(hz);
      row = Math.min(Math.max(nearest, 0), last);
      read();
    }

    function size() {
      const width = Math.max(260, plot.clientWidth);
      return { width, height: Math.round(Math.max(280, 0.62 * width)) };
    }

    function draw() {
      const index = picked.quantity();
      const quantity = chart.quantities[index];
      const visible = chart.series.filter(picked.shows).sort((a, b) => b.ground - a.ground);
      const lines = visible.flatMap((series) => strokes(series, index, quantity));
      const shape = chart.steps ? { paths: uPlot.paths.stepped({ align: 1 }) } : {};
      const options = {
        ...size(),
        legend: { show: false },
        cursor: { y: false, drag: { x: false, y: false }, points: { show: false } },
        scales: {
          x: { time: false, distr: 3, range: [20, 20000] },
          y: { distr: quantity.logarithmic ? 3 : 1, range: [quantity.low, quantity.high] },
        },
        axes: axes(quantity),
        series: [{}, ...lines.map((line) => ({ ...line.style, ...shape, points: { show: chart.points, size: 5 }, spanGaps: chart.points }))],
        hooks: { ready: [(u) => ["pointerdown", "pointermove"].forEach((kind) => u.over.addEventListener(kind, follow)), () => queueMicrotask(point)] },
      };
      if (drawn) drawn.destroy();
      drawn = new uPlot(options, [chart.x, ...lines.map((line) => line.values)], plot);
      drawn.root.setAttribute("aria-hidden", "true");
      read();
    }

    slider.addEventListener("input", () => {
      row = Number(slider.value);
      point();
      read();
    });
    place.append(make("h3", {}, chart.title), ...picked.fields, plot, slider, at, values, hint);
    place.hidden = false;
    draw();
    dark.addEventListener("change", draw);
    let before = plot.clientWidth;
    new ResizeObserver(() => {
      if (plot.clientWidth === before) return;
      before = plot.clientWidth;
      draw();
    }).observe(plot);
  }

  function switchFor(section) {
    const pictures = section.querySelector(".pictures");
    const button = make("button", { type: "button", class: "pictures-switch", "aria-expanded": "false" }, "Show these figures as they are printed");
    pictures.hidden = true;
    button.addEventListener("click", () => {
      pictures.hidden = !pictures.hidden;
      button.setAttribute("aria-expanded", String(!pictures.hidden));
      button.textContent = pictures.hidden ? "Show these figures as they are printed" : "Hide the printed figures";
    });
    pictures.before(button);
  }

  const charts = JSON.parse(document.getElementById("chart-data").textContent);
  for (const place of document.querySelectorAll("[data-chart]")) {
    start(place, { id: place.dataset.chart, ...charts[Number(place.dataset.chart)] });
  }
  for (const section of document.querySelectorAll("section")) {
    if (section.querySelector("[data-chart]") && section.querySelector(".pictures")) switchFor(section);
  }
})();

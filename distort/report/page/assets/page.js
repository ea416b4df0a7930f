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
  const MISSING = -32768;
  const BADGE = 24; // as wide as page.css makes a mark
  const LANE = 28;

  // Values are whole hundredths of a decibel in 16 bits, low byte first, in base 64.
  function unpacked(text) {
    const bytes = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
    const words = new DataView(bytes.buffer);
    return Array.from({ length: bytes.length / 2 }, (_, row) => {
      const value = words.getInt16(2 * row, true);
      return value === MISSING ? null : value / 100;
    });
  }

  // A chart as it is drawn: every quantity with its values, those that are made of the first among them.
  function ready(chart) {
    const fundamentals = chart.fundamentals.map(unpacked);
    const series = chart.series.map((one) => {
      const given = one.values.map((text) => text && unpacked(text));
      const made = {
        percent: (value) => (value === null ? null : 100 * 10 ** (value / 20)),
        level: (value, row) => (value === null ? null : value + fundamentals[one.fundamental][row]),
      };
      const values = chart.quantities.map((quantity, index) => (quantity.made ? given[0].map(made[quantity.made]) : given[index]));
      return { ...one, values, interval: one.interval && unpacked(one.interval) };
    });
    return { ...chart, series };
  }

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
    return {
      fields,
      quantity: () => [...chosen[0]][0],
      shows: (series) => series.at.every((at, i) => chosen[i + 1].has(at)),
      hasCondition: (places) => places.some((place) => chosen[1].has(place)),
    };
  }

  // One curve becomes up to three: clear, to be read with caution (thin), below the floor (dotted).
  function strokes(series, index, quantity) {
    const values = series.values[index];
    const colour = series.colours[dark.matches ? 1 : 0];
    if (series.ground) return [{ values, style: { stroke: colour, fill: colour, fillTo: () => quantity.low, width: 1 } }];
    const part = (mark, style) => {
      const inside = (row) => (series.marks ? series.marks[row] : ".") === mark;
      const rows = values.map((value, row) => (inside(row) || inside(row + 1) ? value : null));
      return { values: rows, style: { stroke: colour, ...style } };
    };
    const clear = part(".", { width: series.width, dash: series.dashes, dots: series.dots });
    if (!series.marks) return [clear];
    return [clear, part("?", { width: Math.min(0.9, series.width) }), part("<", { width: 0.9, dash: [1, 4] })];
  }

  // The interval about a curve, as two lines that are not drawn and what lies between them.
  function edges(series, index) {
    if (!series.interval || index !== 0) return null;
    const edge = (sign) => series.values[0].map((value, row) => (value === null || series.interval[row] === null ? null : value + sign * series.interval[row]));
    return [edge(1), edge(-1)];
  }

  const faint = (colour) => `${colour}2e`;

  // Dots tell conditions apart where dashes tell orders: none, round, square.
  function dotting(kind) {
    return (u, place) => {
      const path = new Path2D();
      const scale = devicePixelRatio;
      const values = u.data[place];
      for (let row = 3; row < values.length; row += 9) {
        if (values[row] === null || values[row] === undefined) continue;
        const x = u.valToPos(u.data[0][row], "x", true);
        const y = u.valToPos(values[row], "y", true);
        if (kind % 2 === 1) {
          path.moveTo(x + 3 * scale, y);
          path.arc(x, y, 3 * scale, 0, 2 * Math.PI);
        } else path.rect(x - 3 * scale, y - 3 * scale, 6 * scale, 6 * scale);
      }
      return { stroke: path, fill: path };
    };
  }

  function axes(quantity, width) {
    const line = { stroke: colourOf("--line"), width: 1 };
    const common = { stroke: colourOf("--ink"), font: "12px system-ui, sans-serif", labelFont: "13px system-ui, sans-serif", grid: line, ticks: line };
    const powers = [];
    for (let power = -6; power <= 4; power++) powers.push(Number(`1e${power}`));
    const shownOctaves = OCTAVES.filter((_, index) => width > 560 || index % 2 === 0);
    const tenth = (quantity.high - quantity.low) / 10;
    return [
      { ...common, label: "Frequency in Hz", splits: () => shownOctaves, filter: (u, s) => s, values: (u, s) => s.map(hertz) },
      {
        ...common,
        label: quantity.label,
        size: 52,
        ...(quantity.logarithmic
          ? { splits: () => powers.filter((one) => one >= 0.999 * quantity.low && one <= 1.001 * quantity.high), filter: (u, s) => s, values: (u, s) => s.map(String) }
          : { splits: () => Array.from({ length: 11 }, (_, i) => quantity.low + i * tenth), values: (u, s) => s.map((v) => String(Math.round(100 * v) / 100).replace("-", "\u2212")) }),
      },
    ];
  }

  const number = (value, quantity) =>
    `${quantity.unit === "%" ? String(Number(value.toPrecision(3))) : value.toFixed(quantity.high - quantity.low > 20 ? 1 : 2)} ${quantity.unit}`;

  function reading(series, row, quantityIndex, quantity) {
    const value = series.values[quantityIndex][row];
    if (value === null || value === undefined) return "not measurable";
    const mark = series.marks ? series.marks[row] : ".";
    const within = series.interval && quantityIndex === 0 && series.interval[row] !== null ? ` \u00b1 ${Math.max(series.interval[row], 0.01).toFixed(series.interval[row] < 0.095 ? 2 : 1)}` : "";
    return { ".": "", "?": "? ", "<": "below floor: " }[mark] + number(value, quantity).replace(" ", `${within} `);
  }

  function swatch(series) {
    const colour = series.colours[dark.matches ? 1 : 0];
    const svg = (tag, attributes) => {
      const node = document.createElementNS("http://www.w3.org/2000/svg", tag);
      for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
      return node;
    };
    const picture = svg("svg", { width: 30, height: 10, "aria-hidden": "true" });
    picture.append(svg("line", { x1: 0, y1: 5, x2: 30, y2: 5, stroke: colour, "stroke-width": series.ground ? 9 : series.width, "stroke-dasharray": series.dashes.join(" ") }));
    if (series.dots % 2 === 1) picture.append(svg("circle", { cx: 15, cy: 5, r: 3.5, fill: colour }));
    else if (series.dots) picture.append(svg("rect", { x: 11.5, y: 1.5, width: 7, height: 7, fill: colour }));
    return picture;
  }

  function start(place, packed) {
    const chart = ready(packed);
    const plot = make("div", { class: "drawn" });
    const marks = make("div", { class: "marks" });
    const stage = make("div", { class: "stage" }, plot, marks);
    const at = make("p", { class: "at" });
    const values = make("ul", { class: "values" });
    const last = chart.rows.length - 1;
    const slider = make("input", { type: "range", min: 0, max: last, step: 1, "aria-label": `Frequency at which to read: ${chart.title}` });
    const picked = choices(chart, draw);
    const thinned = chart.thinned ? " This session is large: every second row is here, and all rows are in the tables." : "";
    const hint = make("p", { class: "hint" }, `Point at the chart, or move the slider with the arrow keys, to read the curves. ? is to be used with caution. Pale: 95 % interval. Numbered marks lead to the findings.${thinned}`);
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

    // Once uPlot knows its scales.
    function placed() {
      point();
      mark();
    }

    function follow(event) {
      const hz = drawn.posToVal(event.clientX - drawn.over.getBoundingClientRect().left, "x");
      const nearest = chart.steps ? chart.x.findLastIndex((edge) => edge <= hz) : drawn.valToIdx(hz);
      row = Math.min(Math.max(nearest, 0), last);
      read();
    }

    function size() {
      const width = Math.max(260, plot.clientWidth);
      return { width, height: Math.round(Math.max(300, Math.min(0.62 * width, 620))) };
    }

    const shownBadges = () => chart.badges.filter((one) => picked.hasCondition(one.conditions));

    // Places of findings, behind the curves.
    function shade(u) {
      u.ctx.save();
      u.ctx.fillStyle = colourOf("--band");
      for (const one of shownBadges()) {
        if (one.broad) continue;
        const [low, high] = [one.low_hz, one.high_hz].map((hz) => u.valToPos(Math.min(Math.max(hz, 20), 20000), "x", true));
        u.ctx.fillRect(low, u.bbox.top, high - low, u.bbox.height);
      }
      u.ctx.restore();
    }

    // Marks above the chart, each in the first lane that has room for it; they are links beside the picture.
    function mark() {
      const left = drawn.over.offsetLeft;
      const lanes = [];
      const narrow = plot.clientWidth < 560; // a comb has one mark there
      const shown = shownBadges().filter((one, index, all) => !narrow || all.findIndex((other) => other.number === one.number) === index);
      const links = shown.map((one) => {
        const middle = one.broad ? Math.sqrt(one.low_hz * one.high_hz) : one.frequency_hz;
        const x = left + drawn.valToPos(Math.min(Math.max(middle, 20), 20000), "x");
        let lane = lanes.findIndex((taken) => taken.every((other) => Math.abs(other - x) > BADGE + 4));
        if (lane < 0) lane = lanes.push([]) - 1;
        lanes[lane].push(x);
        const link = make("a", { href: `#${one.anchor}`, class: `mark ${one.owner}`, "aria-label": one.says, title: one.says }, String(one.number));
        link.style.left = `${x}px`;
        link.style.top = `${lane * LANE}px`;
        return link;
      });
      marks.replaceChildren(...links);
      plot.style.paddingTop = `${lanes.length * LANE}px`;
    }

    function draw() {
      if (plot.clientWidth === 0) return; // folded away: there is no room to draw in yet
      const index = picked.quantity();
      const quantity = chart.quantities[index];
      const visible = chart.series.filter(picked.shows).sort((a, b) => b.ground - a.ground);
      const lines = [];
      const bands = [];
      for (const series of visible) {
        const both = edges(series, index);
        if (both) {
          const colour = series.colours[dark.matches ? 1 : 0];
          bands.push({ series: [lines.length + 1, lines.length + 2], fill: faint(colour) });
          for (const edge of both) lines.push({ values: edge, style: { stroke: "transparent", width: 0 }, unmarked: true });
        }
        lines.push(...strokes(series, index, quantity));
      }
      const shape = chart.steps ? { paths: uPlot.paths.stepped({ align: 1 }) } : {};
      const pointsOf = ({ style, unmarked }) => {
        if (unmarked) return { show: false };
        if (style.dots && !chart.points) return { show: true, size: 6, fill: style.stroke, paths: dotting(style.dots) };
        return { show: chart.points, size: 5 };
      };
      const options = {
        ...size(),
        legend: { show: false },
        cursor: { y: false, drag: { x: false, y: false }, points: { show: false } },
        scales: {
          x: { time: false, distr: 3, range: [20, 20000] },
          y: { distr: quantity.logarithmic ? 3 : 1, range: [quantity.low, quantity.high] },
        },
        axes: axes(quantity, plot.clientWidth),
        bands,
        series: [{}, ...lines.map((line) => ({ ...line.style, ...shape, points: pointsOf(line), spanGaps: chart.points }))],
        hooks: {
          drawClear: [shade],
          ready: [(u) => ["pointerdown", "pointermove"].forEach((kind) => u.over.addEventListener(kind, follow)), () => queueMicrotask(placed)],
        },
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
    place.append(make("h5", {}, chart.title), ...picked.fields, stage, slider, at, values, hint);
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

  // What scrolls by itself, as printed figures do on a phone, can be reached by keyboard.
  function reach(within) {
    for (const figure of within.querySelectorAll("figure")) {
      if (figure.scrollWidth > figure.clientWidth) figure.tabIndex = 0;
    }
  }

  function switchFor(section) {
    const pictures = section.querySelector(".pictures");
    const button = make("button", { type: "button", class: "pictures-switch", "aria-expanded": "false" }, "Show these figures as they are printed");
    pictures.hidden = true;
    button.addEventListener("click", () => {
      pictures.hidden = !pictures.hidden;
      reach(pictures);
      button.setAttribute("aria-expanded", String(!pictures.hidden));
      button.textContent = pictures.hidden ? "Show these figures as they are printed" : "Hide the printed figures";
    });
    pictures.before(button);
  }

  const charts = JSON.parse(document.getElementById("chart-data").textContent);

  // A chart is made when its fold is opened first.
  function begin(fold) {
    for (const place of fold.querySelectorAll("[data-chart]")) {
      if (place.childElementCount === 0) start(place, { id: place.dataset.chart, ...charts[Number(place.dataset.chart)] });
    }
  }

  // A link into a fold opens it.
  function unfold() {
    const target = location.hash.length > 1 && document.getElementById(decodeURIComponent(location.hash.slice(1)));
    const fold = target && target.closest("details");
    if (fold && !fold.open) {
      fold.open = true;
      target.scrollIntoView();
    }
  }

  const folds = [...document.querySelectorAll("details")];
  for (const fold of folds) {
    fold.addEventListener("toggle", () => {
      if (!fold.open) return;
      begin(fold);
      reach(fold);
    });
  }
  for (const section of document.querySelectorAll(".section")) {
    if (section.querySelector("[data-chart]") && section.querySelector(".pictures")) switchFor(section);
  }
  addEventListener("hashchange", unfold);
  unfold();

  // A wide screen has no fold on its first screen; where the style cannot open it, it is opened here.
  if (!CSS.supports("selector(::details-content)") && matchMedia("(min-width: 45rem)").matches) {
    for (const one of document.querySelectorAll(".levels")) one.open = true;
  }

  // On paper every fold is open.
  let closed = [];
  addEventListener("beforeprint", () => {
    closed = folds.filter((fold) => !fold.open);
    for (const fold of closed) fold.open = true;
  });
  addEventListener("afterprint", () => {
    for (const fold of closed) fold.open = false;
  });
})();

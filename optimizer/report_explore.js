"use strict";
(async () => {
  const $ = (id) => document.getElementById(id);
  const MOST_LINES = 60, MOST_ROWS = 100;

  async function unpacked(text) {
    const bytes = Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
    const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
    return await new Response(stream).json();
  }

  if (typeof DecompressionStream === "undefined") { $("explore-fault").hidden = false; return; }
  const settings = JSON.parse($("explore-settings").textContent);
  const data = await unpacked($("explore-data").textContent);
  const total = data.candidate.length;
  const score = data.objectives.output_db, material = data.objectives.material_cm3;
  const label = Object.fromEntries(settings.objectives.map((o) => [o.key, o]));
  const kindOf = (design) => settings.kinds[data.topology.of[design]];
  $("explore-body").hidden = false;
  for (const one of document.querySelectorAll("[data-colour]")) one.style.color = one.dataset.colour;

  const documents = {};
  for (const [name, item] of Object.entries(settings.items)) {
    await Bokeh.embed.embed_item(item, `plot-${name}`);
    documents[name] = Bokeh.documents[Bokeh.documents.length - 1];
  }
  const model = (plot, name) => documents[plot].get_model_by_name(name);
  const points = model("points", "points");
  const curveNames = Object.keys(data.curves.quantities);
  const curveCount = data.curves.quantities.level_db.rows.length;

  // ---- what is shown
  let shown = [], selected = new Set(), chosen = 0, quietly = false, order = [];

  function fixed(value, digits = 4) {
    if (value === null) return "none";
    const rounded = Number(value.toPrecision(digits));
    return Math.abs(value) >= 1000 ? String(Math.round(value)) : String(rounded);
  }

  function valued(objective, design) {
    const value = data.objectives[objective.key][design];
    return objective.unit === "dB" && value !== null ? value.toFixed(2) : fixed(value);
  }

  function setUpRange(id, values, atLeast, unit) {
    const low = Math.floor(Math.min(...values) * 10) / 10, high = Math.ceil(Math.max(...values) * 10) / 10;
    const first = [...values].sort((a, b) => a - b)[Math.floor(values.length / 25)];
    const input = $(id), output = document.querySelector(`output[for="${id}"]`);
    Object.assign(input, { min: low, max: high, step: (high - low) / 200 || 0.1 });
    input.value = atLeast ? Math.min(first, score[0]) : high;
    const show = () => { output.textContent = `${fixed(Number(input.value))} ${unit}`; };
    input.addEventListener("input", () => { show(); soon(); });
    show();
  }

  let waiting = false;
  function soon() { // once a frame, however often a slider moves
    if (waiting) return;
    waiting = true;
    requestAnimationFrame(() => { waiting = false; refilter(); });
  }

  function refilter() {
    const kind = $("f-kind").value, least = Number($("f-score").value), most = Number($("f-material").value);
    const frontOnly = $("f-front").checked;
    shown = [];
    for (let design = 0; design < total; design++) {
      if (kind !== "" && data.topology.of[design] !== Number(kind)) continue;
      if (score[design] < least - 1e-9 || material[design] > most + 1e-9) continue;
      if (frontOnly && !data.front[design]) continue;
      shown.push(design);
    }
    const there = new Set(shown);
    selected = new Set([...selected].filter((design) => there.has(design)));
    drawPoints();
    reselect(true);
  }

  function drawPoints() {
    const across = $("f-across").value, x = data.objectives[across];
    const axis = model("points", "points-x"), upright = model("points", "points-y");
    const better = label[across].sign > 0 ? "more" : "less";
    axis.axis_label = `${label[across].label} (${label[across].unit}), ${better} is better`;
    upright.axis_label = "score (dB)";
    quietly = true;
    points.data = {
      x: shown.map((d) => x[d]), y: shown.map((d) => score[d]),
      colour: shown.map((d) => kindOf(d).colour), shape: shown.map((d) => kindOf(d).shape),
      name: shown.map((d) => kindOf(d).label), design: shown,
    };
    quietly = false;
    const ranked = shown.filter((d) => data.candidate[d]).reverse();
    model("points", "ranked").data = {
      x: ranked.map((d) => x[d]), y: ranked.map((d) => score[d]), rank: ranked.map((d) => `${data.candidate[d]}`) };
  }

  // ---- selection, whichever view it comes from
  function reselect(reorder) {
    quietly = true;
    const at = [];
    shown.forEach((design, i) => { if (selected.has(design)) at.push(i); });
    points.selected.indices = at;
    quietly = false;
    const ranked = [...selected].sort((a, b) => score[b] - score[a]);
    if (ranked.length && !selected.has(chosen)) chosen = ranked[0];
    if (!ranked.length && shown.length && !shown.includes(chosen)) chosen = shown[0];
    const drawn = ranked.slice(0, MOST_LINES);
    const withCurves = drawn.filter((design) => design < curveCount);
    const passing = `${shown.length} of ${total} designs pass the filters`;
    let words = ranked.length ? `${passing}, ${ranked.length} selected.`
      : `${passing}, none selected; the lines are of ${named(chosen)}.`;
    if (ranked.length > MOST_LINES) words += ` The ${MOST_LINES} with the highest score are drawn as lines.`;
    if (withCurves.length < drawn.length) words += ` ${drawn.length - withCurves.length} of them have no curves.`;
    $("explore-state").textContent = shown.length ? words : "No design passes these filters.";
    drawSizes(drawn);
    drawCurves(withCurves);
    showChosen();
    if (reorder) {
      const rest = shown.filter((d) => !selected.has(d)).sort((a, b) => score[b] - score[a]);
      order = [...ranked, ...rest].slice(0, MOST_ROWS);
    }
    drawRows();
  }

  function named(design) {
    const rank = data.candidate[design];
    if (rank) return `candidate ${rank}`;
    return data.front[design] ? `front ${data.front[design]}` : `design ${design + 1}`;
  }

  points.selected.properties.indices.change.connect(() => {
    if (quietly) return;
    selected = new Set(points.selected.indices.map((i) => shown[i]));
    if (selected.size) chosen = [...selected].sort((a, b) => score[b] - score[a])[0];
    reselect(true);
  });

  // ---- sizes on parallel axes
  function drawSizes(drawn) {
    const all = drawn.length ? drawn : shown.length ? [chosen] : [];
    const basis = shown.length ? shown : [];
    const axes = data.dimensions.filter((one) => all.some((d) => one.values[d] !== null))
      .map((one) => ({ name: `${one.name} (${one.unit})`, values: one.values }));
    axes.push({ name: "printed material (cm3)", values: material }, { name: "score (dB)", values: score, plain: true });
    const factors = axes.map((axis) => axis.name);
    for (const axis of axes) {
      const known = basis.map((d) => axis.values[d]).filter((v) => v !== null);
      axis.low = Math.min(...known); axis.high = Math.max(...known);
      const scale = axis.plain || axis.low <= 0 ? (v) => v : Math.log;
      const span = scale(axis.high) - scale(axis.low);
      axis.at = (v) => (v === null ? NaN : span > 0 ? (scale(v) - scale(axis.low)) / span : 0.5);
    }
    const heights = (design) => axes.map((axis) => axis.at(axis.values[design]));
    for (const name of ["sizes-lines", "sizes-chosen", "sizes-dots", "sizes-ends"])
      model("sizes", name).data = { x: [], y: [], colour: [], dash: [], text: [] };
    model("sizes", "sizes-range").factors = factors;
    model("sizes", "sizes-lines").data = {
      x: drawn.map(() => factors), y: drawn.map(heights), colour: drawn.map((d) => kindOf(d).colour),
      dash: drawn.map((d) => kindOf(d).dash) };
    const top = all.length ? [chosen] : [];
    model("sizes", "sizes-chosen").data = { x: top.map(() => factors), y: top.map(heights) };
    const dots = { x: [], y: [], colour: [] };
    for (const design of [...drawn, ...top]) heights(design).forEach((y, i) => {
      if (!Number.isNaN(y)) { dots.x.push(factors[i]); dots.y.push(y); dots.colour.push(kindOf(design).colour); }
    });
    model("sizes", "sizes-dots").data = dots;
    model("sizes", "sizes-ends").data = all.length ? {
      x: [...factors, ...factors], y: [...axes.map(() => 1.05), ...axes.map(() => -0.05)],
      text: [...axes.map((a) => fixed(a.high, 3)), ...axes.map((a) => fixed(a.low, 3))] } : { x: [], y: [], text: [] };
  }

  // ---- curves over frequency
  function curve(name, design) {
    const { step, rows } = data.curves.quantities[name], row = rows[design], count = data.curves.hz.length;
    if (!row) return null;
    const start = Number($("f-space").value) * count, values = [];
    let sum = 0;
    for (let i = start; i < start + count; i++) { sum += row[i]; values.push(sum * step); }
    return values;
  }

  function drawCurves(drawn) {
    for (const name of curveNames) {
      const lines = drawn.map((d) => [d, curve(name, d)]).filter(([, y]) => y);
      model(name, `${name}-lines`).data = {
        x: lines.map(() => data.curves.hz), y: lines.map(([, y]) => y),
        colour: lines.map(([d]) => kindOf(d).colour), dash: lines.map(([d]) => kindOf(d).dash) };
      const top = shown.length && chosen < curveCount ? curve(name, chosen) : null;
      model(name, `${name}-chosen`).data = { x: top ? [data.curves.hz] : [], y: top ? [top] : [] };
    }
  }

  // ---- the chosen design
  function designFile(design) {
    const values = data.files.values[design];
    let place = 0;
    const text = data.files.texts[data.files.of[design]].replaceAll("\u0001", () => String(values[place++]));
    return `# ${named(design)}, score ${score[design].toFixed(3)} dB\n${text}`;
  }

  function cells(tag, texts, numeric) {
    return texts.map((text, i) => {
      const cell = document.createElement(tag);
      cell.textContent = text;
      if (i >= numeric) cell.className = "n";
      return cell;
    });
  }

  function row(tag, texts, numeric) {
    const line = document.createElement("tr");
    line.append(...cells(tag, texts, numeric));
    return line;
  }

  function showChosen() {
    const empty = !shown.length, x = data.objectives[$("f-across").value];
    document.querySelector(".chosen").hidden = empty;
    model("points", "chosen-point").data = empty ? { x: [], y: [] } : { x: [x[chosen]], y: [score[chosen]] };
    if (empty) return;
    const name = named(chosen);
    $("chosen-name").textContent = `${name[0].toUpperCase()}${name.slice(1)}: ${kindOf(chosen).label}`;
    const facts = settings.objectives.filter((o) => data.objectives[o.key][chosen] !== null)
      .map((o) => `${o.key === "output_db" ? "score" : o.label} ${valued(o, chosen)} ${o.unit}`);
    const graph = data.graph.names[data.graph.of[chosen]];
    const place = data.front[chosen] ? `; on the front, row ${data.front[chosen]} of front.csv` : "";
    $("chosen-facts").textContent = `${facts.join("; ")}; graph ${graph}${place}`;
    $("chosen-sizes").replaceChildren(...data.dimensions.filter((one) => one.values[chosen] !== null)
      .map((one) => row("td", [one.name, `${fixed(one.values[chosen])} ${one.unit}`], 1)));
    $("chosen-file").textContent = designFile(chosen);
    $("copied").textContent = "";
  }

  $("copy").addEventListener("click", async () => {
    try {
      await navigator.clipboard.writeText($("chosen-file").textContent);
      $("copied").textContent = "Copied.";
    } catch {
      $("chosen-file").closest("details").open = true;
      getSelection().selectAllChildren($("chosen-file"));
      $("copied").textContent = document.execCommand("copy") ? "Copied." : "Marked below; copy it from there.";
    }
  });

  $("save").addEventListener("click", () => {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([$("chosen-file").textContent], { type: "text/plain" }));
    link.download = `${named(chosen).replace(" ", "-")}.toml`;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 1000);
  });

  // ---- the table
  const columns = settings.objectives.filter((o) => o.listed);
  $("rows-head").append(row("th", ["design", "topology",
    ...columns.map((o) => `${o.key === "output_db" ? "score" : o.label} (${o.unit})`)], 2));

  function drawRows() {
    $("rows").replaceChildren(...order.map((design) => {
      const line = row("td", ["", kindOf(design).label, ...columns.map((o) => valued(o, design))], 2);
      const button = document.createElement("button");
      button.type = "button";
      button.className = "plain";
      button.textContent = named(design);
      button.setAttribute("aria-pressed", String(selected.has(design)));
      line.firstChild.append(button);
      line.dataset.design = design;
      line.classList.toggle("on", selected.has(design));
      line.classList.toggle("top", design === chosen);
      return line;
    }));
    const more = shown.length - order.length;
    $("rows-note").textContent = more > 0 ? `${more} more designs; select points or filter to list them.` : "";
  }

  $("rows").addEventListener("click", (event) => {
    const line = event.target.closest("tr");
    if (!line) return;
    const design = Number(line.dataset.design), focused = event.target.closest("button");
    if (selected.has(design)) selected.delete(design);
    else { selected.add(design); chosen = design; }
    reselect(false);
    if (focused) $("rows").querySelector(`[data-design="${design}"] button`).focus();
  });

  // ---- start
  setUpRange("f-score", score, true, "dB");
  setUpRange("f-material", material, false, "cm3");
  for (const id of ["f-kind", "f-front"]) $(id).addEventListener("change", refilter);
  $("f-across").addEventListener("change", () => { drawPoints(); reselect(false); });
  $("f-space").addEventListener("change", () => reselect(false));
  $("f-clear").addEventListener("click", () => { selected = new Set(); reselect(true); });
  if (matchMedia("(pointer: coarse)").matches)
    for (const tool of documents.points.roots()[0].toolbar.tools) if (tool.active) tool.active = false;
  refilter();
  document.documentElement.dataset.explored = "1";
})();

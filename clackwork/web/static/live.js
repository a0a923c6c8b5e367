"use strict";
/* The page around the picture: sliders, what is asked of the server while they move, playing, keeping. */

(() => {
  const root = document.getElementById("live");
  if (!root) return;
  const byId = (id) => document.getElementById(`live-${id}`);
  const units = root.dataset.units;
  const SPEEDS = [1, 0.25, 0.05];
  const REST = 350; // ms without a move before the stalls are looked for

  let begin = null; // what the server began with
  let setting = null; // what is asked for
  let trace = null;
  let answer = null;
  let moment = 0;
  let isPlaying = !window.matchMedia("(prefers-reduced-motion: reduce)").matches;
  let speed = 0.25;
  let isBusy = false;
  let isWanted = false;
  let generation = 0;
  let resting = 0;
  const rows = new Map();
  const typedTexts = new Map(); // what was typed and taken, until its slider moves

  const section = new LivePicture.Section(byId("stage"));
  const traces = new LivePicture.Traces(byId("traces"), (at) => {
    play(false);
    moveTo(at);
  });

  async function post(path, body) {
    const headers = { "content-type": "application/json", accept: "application/json" };
    headers[root.dataset.tokenHeader] = root.dataset.token;
    const response = await fetch(path, { method: "POST", headers, body: JSON.stringify(body) });
    return [response.ok, await response.json()];
  }

  /* ---- asking: one request at a time, the newest setting next ---- */

  async function ask() {
    isWanted = true;
    if (isBusy) return;
    isBusy = true;
    while (isWanted) {
      isWanted = false;
      const asked = { ...setting };
      try {
        const [good, found] = await post("/api/live", asked);
        if (good) show(found, asked);
        else if (!isWanted) refuse(found, asked);
      } catch (error) {
        byId("error").textContent = "The server does not answer; the picture shows the last setting it knew.";
      }
    }
    isBusy = false;
  }

  function changed(name) {
    generation += 1;
    rows.forEach((row) => row.track.classList.add("is-stale"));
    ask();
    window.clearTimeout(resting);
    resting = window.setTimeout(() => lookForEdges(name, generation), REST);
  }

  /** Where each slider stalls, the moved one first, given up as soon as something moves again. */
  async function lookForEdges(first, mine) {
    const names = [...rows.keys()].sort((a, b) => (b === first) - (a === first));
    for (const name of names) {
      if (mine !== generation) return;
      const row = rows.get(name);
      if (row.box.hidden) continue;
      const value = setting[row.slider.key];
      const low = Math.min(row.slider.low, value);
      const high = Math.max(row.slider.high, value);
      try {
        const [good, found] = await post("/api/live/edges", { ...setting, move: name, low, high });
        if (mine !== generation) return;
        if (good) showEdges(row, found);
      } catch (error) {
        return;
      }
    }
  }

  function refuse(problem, asked) {
    const row = rows.get(problem.field) || rows.get(String(problem.field).split(".").pop());
    byId("error").textContent = row ? "" : problem.error;
    if (row) {
      row.error.textContent = problem.error;
      row.typed.setAttribute("aria-invalid", "true");
    }
    for (const name of rows.keys()) if (asked[name] !== undefined) delete setting[name];
  }

  /* ---- showing ---- */

  function show(found, asked) {
    answer = found;
    byId("error").textContent = "";
    byId("words").textContent = found.words;
    root.dataset.state = found.state;
    for (const [name, row] of rows) {
      const input = found.inputs[name];
      row.box.hidden = !input;
      if (!input) continue;
      if (asked[name] !== undefined) {
        if (setting[name] === asked[name]) {
          typedTexts.set(name, setting[name]);
          delete setting[name];
          setting[row.slider.key] = input[row.slider.key];
          row.range.value = input[row.slider.key];
        }
      }
      row.range.setAttribute("aria-valuetext", `${input.shown}, ${input.also}`);
      if (document.activeElement !== row.typed) row.typed.value = input.shown;
      row.also.textContent = input.also === input.shown ? "" : input.also;
      row.error.textContent = "";
      row.typed.removeAttribute("aria-invalid");
    }
    showFigures(found);
    const share = trace && trace.duration ? moment / trace.duration : 0;
    trace = new LivePicture.Trace(found.trace);
    moment = share * trace.duration;
    section.show(found.section, trace, units === "us" ? "ft" : "m");
    traces.show(trace);
    moveTo(moment);
    const keep = byId("keep-button");
    if (keep) keep.disabled = Object.keys(movedParts()).length === 0;
    root.dataset.shown = String(Number(root.dataset.shown || 0) + 1);
  }

  const CHIEF = ["delivered_flow", "drawn_flow", "beat_rate"];
  const PRESSURES = ["peak_head", "surge_head"];

  function figureCell(figure) {
    const value = element("dd", {});
    const [number, ...unit] = figure.shown.split(" ");
    value.append(element("span", { class: "live-number" }, number), " ", element("span", { class: "live-unit" }, unit.join(" ")));
    if (figure.also) value.append(" ", element("span", { class: "live-also" }, figure.also));
    return element("div", { "data-figure": figure.name }, element("dt", {}, figure.words), value);
  }

  function showFigures(found) {
    const lists = { chief: [], pressures: [], figures: [] };
    for (const figure of found.figures) {
      const list = CHIEF.includes(figure.name) ? "chief" : PRESSURES.includes(figure.name) ? "pressures" : "figures";
      lists[list].push(figureCell(figure));
    }
    for (const [name, cells] of Object.entries(lists)) byId(name).replaceChildren(...cells);
    byId("margin").textContent = found.margin;
    const cautions = byId("cautions");
    if (cautions.childElementCount !== found.cautions.length) {
      cautions.replaceChildren(...found.cautions.map((words) => element("p", {}, words)));
    }
  }

  function showEdges(row, found) {
    const { low, high } = row.slider;
    const share = (value) => Math.min(Math.max((value - low) / (high - low), 0), 1);
    row.bands.replaceChildren(
      ...found.bands.filter((band) => band.stalls).map((band) => {
        const mark = document.createElement("span");
        const from = share(band.low);
        const to = share(band.high);
        mark.className = "live-band";
        mark.dataset.state = band.state;
        mark.title = band.words;
        mark.style.left = `calc(14px + (100% - 28px) * ${from.toFixed(4)})`;
        mark.style.width = `calc((100% - 28px) * ${(to - from).toFixed(4)})`;
        return mark;
      })
    );
    row.edges.textContent = found.words;
    row.track.classList.remove("is-stale");
  }

  /* ---- playing ---- */

  function moveTo(at) {
    if (!trace) return;
    moment = trace.isLoop ? ((at % trace.duration) + trace.duration) % trace.duration : Math.min(Math.max(at, 0), trace.duration);
    section.at(moment);
    traces.at(moment);
    const phase = trace.phase(moment);
    for (const each of byId("phases").children) each.classList.toggle("is-now", each.dataset.phase === phase);
    if (!isPlaying) tell();
  }

  /** The moment in words; while it plays they would change too fast to read. */
  function tell() {
    if (!trace || trace.isEmpty) return;
    const named = ["body_head", "velocity", "opening", "waste_flow", "delivered_flow"].map((name) => {
      const column = trace.columns[name];
      return `${column.words} ${LivePicture.shown(trace.figure(name, moment))} ${column.unit}`;
    });
    const phase = trace.phase(moment);
    byId("moment").textContent = `${phase ? `${phase}, ` : ""}${moment.toFixed(3)} s: ${named.join(", ")}.`;
  }

  function play(on) {
    isPlaying = on;
    byId("play").textContent = on ? "Pause" : "Play";
    if (on) byId("moment").textContent = "Playing the last beats over and over. Pause or step to read a moment.";
    else tell();
  }

  function step(sign) {
    play(false);
    if (trace) moveTo(moment + sign * Math.max(trace.duration / 240, 0.002));
  }

  let before = null;
  function tick(now) {
    if (isPlaying && trace && !trace.isEmpty && before !== null) {
      const next = moment + (Math.min(now - before, 100) / 1000) * speed;
      moveTo(trace.isLoop ? next : next % trace.duration);
    }
    before = now;
    window.requestAnimationFrame(tick);
  }

  byId("play").addEventListener("click", () => play(!isPlaying));
  byId("back").addEventListener("click", () => step(-1));
  byId("forward").addEventListener("click", () => step(1));
  byId("speed").addEventListener("change", (event) => {
    speed = Number(event.target.value);
  });
  byId("near").addEventListener("click", () => {
    section.isNear = !section.isNear;
    byId("near").textContent = section.isNear ? "Whole pump" : "Closer";
    section.frame();
    moveTo(moment);
  });
  byId("stage").addEventListener("keydown", (event) => {
    const keys = {
      " ": () => play(!isPlaying),
      ArrowLeft: () => step(-1),
      ArrowRight: () => step(1),
      Home: () => moveTo(0),
      s: () => {
        speed = SPEEDS[(SPEEDS.indexOf(speed) + 1) % SPEEDS.length];
        byId("speed").value = String(speed);
      },
    };
    const act = keys[event.key.length === 1 ? event.key.toLowerCase() : event.key];
    if (act && !event.ctrlKey && !event.altKey && !event.metaKey) {
      event.preventDefault();
      act();
    }
  });

  /* ---- settings ---- */

  function element(name, attributes, ...inside) {
    const made = document.createElement(name);
    for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
    made.append(...inside);
    return made;
  }

  function addSlider(slider) {
    const id = `live-slider-${slider.name}`;
    const label = element("label", { for: id, class: "live-name" }, slider.words);
    const range = element("input", { type: "range", id, min: slider.low, max: slider.high, step: "any", "aria-describedby": `${id}-edges` });
    const typed = element("input", { type: "text", id: `${id}-typed`, "aria-label": `${slider.words}, typed with its unit`, maxlength: 60, inputmode: "text" });
    const also = element("span", { class: "live-also" });
    const bands = element("span", { class: "live-bands", "aria-hidden": "true" });
    const track = element("div", { class: "live-track" }, bands, range);
    const edges = element("p", { class: "live-edges", id: `${id}-edges` });
    const error = element("p", { class: "live-error", role: "alert" });
    const box = element("div", { class: "live-slider" }, label, element("span", { class: "live-value" }, typed, also), track, edges, error);
    range.value = setting[slider.key];
    range.addEventListener("input", () => {
      setting[slider.key] = Math.min(Math.max(Math.round(Number(range.value) / slider.step) * slider.step, slider.low), slider.high);
      delete setting[slider.name];
      typedTexts.delete(slider.name);
      changed(slider.name);
    });
    range.addEventListener("keydown", (event) => {
      const way = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1, PageUp: 10, PageDown: -10 }[event.key];
      if (!way) return;
      event.preventDefault();
      range.value = Number(range.value) + way * slider.step;
      range.dispatchEvent(new Event("input"));
    });
    typed.addEventListener("change", () => {
      setting[slider.name] = typed.value;
      changed(slider.name);
    });
    typed.addEventListener("blur", () => {
      const input = answer && answer.inputs[slider.name];
      if (input && setting[slider.name] === undefined && !typed.hasAttribute("aria-invalid")) typed.value = input.shown;
    });
    rows.set(slider.name, { slider, box, range, typed, also, bands, track, edges, error });
    byId("sliders").append(box);
  }

  function addPipes() {
    const select = byId("pipe");
    select.replaceChildren();
    const own = element("option", { value: "" }, "as it is there");
    select.append(own);
    for (const series of begin.pipes) {
      const group = element("optgroup", { label: series.title });
      for (const size of series.sizes) group.append(element("option", { value: `${series.series}|${size}` }, `${size}, ${series.title}`));
      select.append(group);
    }
    const here = `${begin.pipe.series}|${begin.pipe.size}`;
    select.value = [...select.options].some((option) => option.value === here) ? here : "";
    if (select.value) own.remove();
    select.dataset.first = select.value;
  }

  byId("pipe").addEventListener("change", (event) => {
    const [series, size] = event.target.value.split("|");
    setting.series = series || "";
    setting.size = size || "";
    changed("pipe_length");
  });
  byId("shut").addEventListener("change", (event) => {
    setting.delivery_shut = event.target.checked;
    changed("stroke");
  });
  byId("place").addEventListener("change", (event) => start(Number(event.target.value)));
  byId("reset").addEventListener("click", () => start(begin.place));
  byId("form").addEventListener("submit", (event) => event.preventDefault());

  /* ---- keeping ---- */

  function movedParts() {
    const moved = {};
    for (const name of ["stroke", "mass", "tilt"]) {
      const row = rows.get(name);
      const { key } = row.slider;
      if (Math.abs(setting[key] - begin.setting[key]) <= 1e-9) continue;
      if (typedTexts.has(name)) moved[name] = typedTexts.get(name);
      else moved[key] = setting[key];
    }
    return moved;
  }

  function token() {
    return [...crypto.getRandomValues(new Uint8Array(16))].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  }

  if (byId("keep")) {
    let request = token();
    byId("keep").addEventListener("submit", async (event) => {
      event.preventDefault();
      const name = byId("keep-name").value.trim();
      const body = { build_id: Number(root.dataset.buildId), name, units, ...movedParts(), request_id: request };
      try {
        const [good, found] = await post("/api/live/keep", body);
        byId("kept").replaceChildren(good ? "Kept. " : found.error);
        if (good) {
          request = token();
          byId("kept").append(element("a", { href: `/pumps/${found.pump_id}/builds/${found.build_id}/live` }, `Go on with ${found.name}`));
        }
      } catch (error) {
        byId("kept").textContent = "The server did not answer: nothing is lost here, try again.";
      }
    });
  }

  /* ---- beginning ---- */

  async function start(place) {
    const query = new URLSearchParams({ units, place: String(place) });
    if (root.dataset.buildId) query.set("build_id", root.dataset.buildId);
    const response = await fetch(`/api/live/start?${query}`, { headers: { accept: "application/json" } });
    const found = await response.json();
    if (!response.ok) {
      byId("words").textContent = found.error;
      return;
    }
    begin = found;
    setting = { ...found.setting };
    rows.clear();
    typedTexts.clear();
    byId("sliders").replaceChildren();
    found.sliders.forEach(addSlider);
    addPipes();
    byId("shut").checked = false;
    byId("place").replaceChildren(...found.places.map((name, at) => element("option", { value: at }, name)));
    byId("place").value = String(found.place);
    if (byId("keep-name") && !byId("keep-name").value) byId("keep-name").value = `${found.build_name}, retuned`.slice(0, 80);
    changed("stroke");
  }

  let width = 0;
  new ResizeObserver(() => {
    const now = byId("traces").clientWidth;
    if (now === width || !trace) return;
    width = now;
    traces.show(trace);
    section.frame();
    moveTo(moment);
  }).observe(byId("traces"));

  play(isPlaying);
  window.requestAnimationFrame(tick);
  start(0);
})();

"use strict";
/* The moving section drawing with its gauge, and the traces below it. Everything shown here was reckoned by the server:
   this file only moves parts along the trace it was given, and draws lines through its figures. */

const LivePicture = (() => {
  const DROPS = 44; // drawn of the water that has left each side of the rim
  const DROP_EVERY = 0.005; // seconds between two drops
  const GRAVITY = 9806.65; // mm/s2, for the way of a drop on the drawing
  const DIAL = 135; // degrees of the dial to either side of upright
  const WATER = "#d5e3ea";
  const SPRAY = "#5d7f91";
  const DARK = "#1a1a1a";
  const MIDDLE = "#6b6b6b";
  const PALE = "#efefec";

  function make(svgParent, name, attributes, text) {
    const made = document.createElementNS(svgParent.namespaceURI, name);
    for (const [key, value] of Object.entries(attributes || {})) made.setAttribute(key, value);
    if (text !== undefined) made.textContent = text;
    svgParent.append(made);
    return made;
  }

  function svgElement(text) {
    return document.importNode(new DOMParser().parseFromString(text, "image/svg+xml").documentElement, true);
  }

  /** Round steps that part a span into about so many. */
  function ticks(low, high, about) {
    const rough = (high - low) / about || 1;
    const power = 10 ** Math.floor(Math.log10(rough));
    const step = [1, 2, 5, 10].map((each) => each * power).find((each) => each >= rough);
    const found = [];
    for (let at = Math.ceil(low / step - 1e-9) * step; at <= high + 1e-9 * step; at += step) {
      found.push(Math.abs(at) < step * 1e-6 ? 0 : Number(at.toPrecision(10)));
    }
    return found;
  }

  function shown(value) {
    const size = Math.abs(value);
    if (size >= 100) return value.toFixed(0);
    if (size >= 10) return value.toFixed(1);
    return value.toFixed(2);
  }

  /** A looped trace, read between its rows. */
  class Trace {
    constructor(answer) {
      this.answer = answer;
      this.duration = answer.duration_s;
      this.columns = Object.fromEntries(answer.columns.map((each) => [each.name, each]));
      this.time = answer.columns.length ? this.columns.time.values : [0];
      this.isLoop = answer.phases.length > 0;
    }

    get isEmpty() {
      return this.answer.columns.length === 0;
    }

    /** Row before a moment and the share of the way to the next one. */
    place(at) {
      const wanted = this.isLoop ? ((at % this.duration) + this.duration) % this.duration : Math.min(Math.max(at, 0), this.duration);
      let low = 0;
      let high = this.time.length - 1;
      while (high - low > 1) {
        const middle = (low + high) >> 1;
        if (this.time[middle] <= wanted) low = middle;
        else high = middle;
      }
      const span = this.time[high] - this.time[low];
      return [low, high, span > 0 ? Math.min((wanted - this.time[low]) / span, 1) : 0];
    }

    read(values, at) {
      const [low, high, share] = this.place(at);
      return values[low] + share * (values[high] - values[low]);
    }

    figure(name, at) {
      return this.read(this.columns[name].values, at);
    }

    phase(at) {
      for (const beat of this.answer.phases) {
        for (const [name, begin, end] of beat) if (at >= begin && at < end) return name;
      }
      return "";
    }
  }

  /** The section drawing in its stage. */
  class Section {
    constructor(stage) {
      this.stage = stage;
      this.isNear = false;
      this.dial = svgElement('<svg xmlns="http://www.w3.org/2000/svg" class="live-gauge" viewBox="-60 -60 120 156" role="img"></svg>');
      this.dial.setAttribute("aria-label", "Gauge of the head in the body");
    }

    show(section, trace, unit) {
      const before = this.svg;
      this.section = section;
      this.trace = trace;
      this.svg = svgElement(section.svg);
      this.full = this.svg.getAttribute("viewBox");
      this.moving = section.motions.map((motion) => [
        motion,
        [...this.svg.querySelectorAll(`[data-motion="${motion.name}"]`)],
      ]);
      this.level = this.svg.querySelector("#live-level");
      this.ground = section.bounds[1] + section.bounds[3] - 4;
      this.addFlow();
      if (before) before.replaceWith(this.svg);
      else this.stage.append(this.svg, this.dial);
      this.drawDial(unit);
      this.frame();
    }

    /** Lines that run with the water in the drive pipe and past the delivery valve, and the water that leaves the rim. */
    addFlow() {
      const [left, right, y, radius] = this.section.pipe_axis;
      const [x, top] = this.section.neck;
      const before = this.svg.querySelector(".section-datum");
      const line = (d, dash) => {
        const made = make(this.svg, "path", { d, stroke: MIDDLE, "stroke-width": 1.1, "stroke-dasharray": dash, "stroke-linecap": "round" });
        this.svg.insertBefore(made, before);
        return made;
      };
      this.streams = [-0.5, 0, 0.5].map((share) => line(`M${left} ${y + share * radius}H${right}`, share ? "9 17" : "13 13"));
      this.passing = [-0.3, 0.3].map((share) => line(`M${x + share * radius} 0V${top}`, "7 8"));
      this.bulge = make(this.svg, "path", { fill: WATER, stroke: DARK, "stroke-width": 0.8 });
      this.drops = make(this.svg, "path", { stroke: SPRAY, "stroke-width": 1.3, "stroke-linecap": "round", class: "live-spray" });
      this.svg.insertBefore(this.bulge, before);
      this.svg.insertBefore(this.drops, before);
    }

    /** All of the pump with its labels where there is room for them, or the waste valve alone. */
    frame() {
      const [left, top, width, height] = this.section.bounds;
      const narrow = this.stage.clientWidth < 560;
      const [half, rim] = this.section.rim;
      const reach = rim + 1.1 * half;
      const box = this.isNear
        ? `${-1.75 * reach} ${-1.35 * reach} ${3.2 * reach} ${2.4 * reach}`
        : narrow ? `${left} ${top} ${width} ${height}` : this.full;
      this.svg.setAttribute("viewBox", box);
      this.svg.classList.toggle("no-labels", narrow || this.isNear);
      this.joinGauge();
    }

    /** A thin tube from the body to the gauge on the drawing. */
    joinGauge() {
      if (this.tube) this.tube.remove();
      if (this.isNear) return;
      const matrix = this.svg.getScreenCTM();
      if (!matrix) return;
      const dial = this.dial.getBoundingClientRect();
      const point = new DOMPoint(dial.left + 0.1 * dial.width, dial.top + 0.385 * dial.height).matrixTransform(matrix.inverse());
      const [half] = this.section.rim;
      const x = -1.28 * half - 6;
      this.tube = make(this.svg, "path", { d: `M${x} -4V${point.y}H${point.x}`, stroke: DARK, "stroke-width": 1.1 });
      this.svg.insertBefore(this.tube, this.bulge);
    }

    drawDial(unit) {
      this.dial.replaceChildren();
      const marks = ticks(0, this.section.gauge_top * 1.05, 5);
      const top = marks[marks.length - 1] + (marks[1] - marks[0] || 1);
      this.dialTop = top;
      make(this.dial, "circle", { r: 58, fill: "white", stroke: DARK, "stroke-width": 2 });
      for (const value of [...marks, top]) {
        const angle = ((value / top) * 2 - 1) * DIAL;
        make(this.dial, "path", { d: "M0 -55V-46", stroke: DARK, "stroke-width": 1.5, transform: `rotate(${angle})` });
        const turn = (angle * Math.PI) / 180;
        make(this.dial, "text", { x: 37 * Math.sin(turn), y: -37 * Math.cos(turn) + 4, "text-anchor": "middle", "font-size": 11, fill: DARK }, String(value));
      }
      this.needle = make(this.dial, "path", { d: "M-2.5 10L0 -44L2.5 10Z", fill: DARK });
      make(this.dial, "circle", { r: 5, fill: DARK });
      this.dialUnit = unit;
      this.dialFigure = make(this.dial, "text", { y: 77, "text-anchor": "middle", "font-size": 18, "font-weight": "bold", fill: DARK });
      make(this.dial, "text", { y: 92, "text-anchor": "middle", "font-size": 12, fill: DARK }, "head in the body");
    }

    at(moment) {
      if (this.trace.isEmpty) {
        this.dialFigure.textContent = "–";
        return;
      }
      const answer = this.trace.answer;
      const opening = this.trace.read(answer.opening_m, moment);
      const [row] = this.trace.place(moment);
      for (const [motion, parts] of this.moving) {
        const transform = this.transform(motion, opening, answer.passing[row]);
        parts.forEach((part) => part.setAttribute("transform", transform));
      }
      this.level.setAttribute("y", this.trace.read(answer.level_mm, moment));
      const travel = this.trace.read(answer.travel_mm, moment);
      this.streams.forEach((stream) => stream.setAttribute("stroke-dashoffset", -travel));
      this.passing.forEach((stream) => {
        stream.setAttribute("stroke-dashoffset", -travel);
        stream.setAttribute("visibility", answer.passing[row] ? "visible" : "hidden");
      });
      const head = this.trace.figure("body_head", moment);
      const share = Math.min(Math.max(head / this.dialTop, -0.06), 1.03);
      this.needle.setAttribute("transform", `rotate(${(share * 2 - 1) * DIAL})`);
      this.dialFigure.textContent = `${shown(head)} ${this.dialUnit}`;
      this.splash(moment);
    }

    transform(motion, opening, passing) {
      const way = motion.per_metre * opening;
      if (motion.kind === "turn") return `rotate(${way} ${motion.x} ${motion.y})`;
      if (motion.kind === "stretch") return `matrix(1 0 0 ${1 + way} 0 ${-motion.y * way})`;
      return `translate(0 ${motion.kind === "lift" ? (passing ? motion.per_metre : 0) : way})`;
    }

    /** Drops that left the rim a while ago, each as fast as the water was then, and the water heaped over the rim. */
    splash(moment) {
      const answer = this.trace.answer;
      const turn = (this.section.tilt_deg * Math.PI) / 180;
      const [, height, inner] = this.section.rim;
      const [out, along] = [[Math.sin(turn), -Math.cos(turn)], [Math.cos(turn), Math.sin(turn)]];
      const isUpright = Math.abs(this.section.tilt_deg) < 60;
      const last = Math.floor(moment / DROP_EVERY);
      const ways = [];
      for (let count = 0; count < 2 * DROPS; count += 1) {
        const number = last - (count >> 1);
        const since = moment - number * DROP_EVERY;
        const then = this.trace.isLoop ? moment - since : Math.max(moment - since, 0);
        const share = this.trace.read(answer.spout_share, then);
        if (share < 0.02) continue;
        const chance = ((((number % 97) + 97) * 61 + (count & 1) * 37) % 97) / 97;
        const side = count & 1 ? 1 : -1;
        const speed = Math.sqrt(2 * GRAVITY * this.trace.read(answer.spout_mm, then)) * (isUpright ? 0.5 + 0.6 * chance : 0.85 + 0.2 * chance);
        const sideways = isUpright ? side * (90 + (160 + 180 * chance) * share) : 0;
        const start = isUpright ? side * inner : (2 * chance - 1) * inner;
        const velocity = [out[0] * speed + sideways, out[1] * speed + GRAVITY * since];
        const x = start * along[0] + height * out[0] + (out[0] * speed + sideways) * since;
        const y = start * along[1] + height * out[1] + out[1] * speed * since + 0.5 * GRAVITY * since * since;
        if (y > this.ground) continue;
        const long = (1 + 3 * share) / Math.hypot(...velocity);
        ways.push(`M${x.toFixed(1)} ${y.toFixed(1)}l${(velocity[0] * long).toFixed(1)} ${(velocity[1] * long).toFixed(1)}`);
      }
      this.drops.setAttribute("d", ways.join(""));
      const heap = isUpright ? Math.min(1.2 * this.trace.read(answer.spout_mm, moment), 0.6 * inner) : 0;
      this.bulge.setAttribute("transform", `rotate(${this.section.tilt_deg})`);
      this.bulge.setAttribute("visibility", heap > 0.4 ? "visible" : "hidden");
      this.bulge.setAttribute("d", `M${-inner} ${-height}C${-0.5 * inner} ${-height - 1.4 * heap} ${0.5 * inner} ${-height - 1.4 * heap} ${inner} ${-height}`);
    }
  }

  const PANELS = ["body_head", "velocity", "opening"];

  /** Head, velocity and opening one above the other, with a cursor that can be dragged. */
  class Traces {
    constructor(box, onMoment) {
      this.box = box;
      this.svg = svgElement('<svg xmlns="http://www.w3.org/2000/svg" role="img" font-family="Lato, sans-serif" font-size="12"></svg>');
      this.svg.setAttribute("aria-label", "Head at the pump, velocity in the drive pipe and valve opening over the last beats");
      box.append(this.svg);
      const go = (event) => {
        if (event.buttons & 1 && this.trace && !this.trace.isEmpty) {
          const x = event.clientX - this.svg.getBoundingClientRect().left;
          onMoment(Math.min(Math.max((x - this.left) / this.width, 0), 1) * this.trace.duration);
        }
      };
      this.svg.addEventListener("pointerdown", (event) => {
        this.svg.setPointerCapture(event.pointerId);
        go(event);
      });
      this.svg.addEventListener("pointermove", go);
    }

    show(trace) {
      this.trace = trace;
      this.svg.replaceChildren();
      this.cursor = null;
      const whole = Math.max(this.box.clientWidth, 240);
      this.left = 46;
      this.width = whole - this.left - 8;
      const tall = whole < 480 ? 66 : 74;
      const gap = 26;
      const height = 26 + PANELS.length * (tall + gap) + 22;
      this.svg.setAttribute("width", whole);
      this.svg.setAttribute("height", height);
      if (trace.isEmpty) return;
      this.bottom = height - 26;
      this.bands();
      this.marks = PANELS.map((name, place) => this.panel(trace.columns[name], 26 + gap * (place + 1) - 8 + tall * place, tall));
      this.axis();
      this.cursor = make(this.svg, "path", { d: `M0 16V${this.bottom}`, stroke: DARK, "stroke-width": 1.5 });
    }

    x(at) {
      return this.left + (at / this.trace.duration) * this.width;
    }

    bands() {
      for (const beat of this.trace.answer.phases) {
        beat.forEach(([name, begin, end], place) => {
          const [from, to] = [this.x(begin), this.x(end)];
          if (place % 2) make(this.svg, "rect", { x: from, y: 0, width: to - from, height: this.bottom, fill: PALE });
          if (to - from > 6.2 * name.length) {
            make(this.svg, "text", { x: 0.5 * (from + to), y: 11, "text-anchor": "middle", fill: DARK }, name);
          }
        });
      }
    }

    panel(column, top, tall) {
      const values = column.values;
      let low = Math.min(0, ...values);
      let high = Math.max(...values);
      if (high - low < 1e-9) high = low + 1;
      const y = (value) => top + tall - ((value - low) / (high - low)) * tall;
      make(this.svg, "text", { x: this.left, y: top - 6, fill: DARK }, `${column.words} (${column.unit})`);
      for (const value of ticks(low, high, 3)) {
        make(this.svg, "path", { d: `M${this.left} ${y(value)}h${this.width}`, stroke: "#d6d6d2" });
        make(this.svg, "text", { x: this.left - 6, y: y(value) + 4, "text-anchor": "end", fill: DARK }, String(value));
      }
      const time = this.trace.time;
      const points = values.map((value, row) => `${this.x(time[row]).toFixed(1)} ${y(value).toFixed(1)}`);
      make(this.svg, "path", { d: `M${points.join("L")}`, stroke: DARK, "stroke-width": 1.4, fill: "none", "stroke-linejoin": "round", class: "live-line" });
      const dot = make(this.svg, "circle", { r: 4, fill: "white", stroke: DARK, "stroke-width": 1.5 });
      const words = make(this.svg, "text", { x: this.left + this.width, y: top - 6, "text-anchor": "end", "font-weight": "bold", fill: DARK });
      return { column, y, dot, words };
    }

    axis() {
      for (const value of ticks(0, this.trace.duration, Math.max(3, Math.round(this.width / 90)))) {
        make(this.svg, "text", { x: this.x(value), y: this.bottom + 15, "text-anchor": "middle", fill: DARK }, `${value} s`);
      }
    }

    at(moment) {
      if (!this.cursor) return;
      const x = this.x(moment);
      this.cursor.setAttribute("transform", `translate(${x} 0)`);
      for (const { column, y, dot, words } of this.marks) {
        const value = this.trace.read(column.values, moment);
        dot.setAttribute("cx", x);
        dot.setAttribute("cy", y(value));
        words.textContent = `${shown(value)} ${column.unit}`;
      }
    }
  }

  return { Section, Trace, Traces, shown };
})();

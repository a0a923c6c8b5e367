// The run card: watch, beats, readings and the runs so far. What is shown is always drawn from what is kept (run_keep.js).
"use strict";

(() => {
  const byId = (id) => document.getElementById(id);
  const keep = window.runKeep;
  const watch = window.runWatch;
  const keys = window.runKeys;
  const trial = Number(new URLSearchParams(location.search).get("trial"));
  const NO_NETWORK = "This phone has not seen this trial yet, and there is no connection. Open the card once where there is one.";
  const LOADS_ANEW = "serviceWorker" in navigator; // a browser gives none over plain HTTP on the local network
  let pane = "watch";

  const data = () => keep.cardData(trial);
  const run = () => keep.draft(trial);
  const text = (id, words) => {
    if (byId(id).textContent !== words) byId(id).textContent = words;
  };
  const hide = (id, hidden) => {
    byId(id).hidden = hidden;
  };

  // ---- what is asked for

  const builds = () => [data().old, data().new];
  const nameOf = (build) => builds().find((one) => one.id === build)?.name ?? "";
  const isTimed = () => data().timed.includes(run().kind);
  const isBeating = () => data().beating.includes(run().kind);
  const firstReadings = () => data().readings.filter((one) => one.kinds.includes(run().kind));
  const moreReadings = () => data().readings.filter((one) => !one.kinds.includes(run().kind));

  // the next build by the plan, runs still on the phone counted as made
  const nextBuild = () => {
    const order = data().plan?.order ?? [];
    const waiting = keep.queue().filter((one) => one.trial === trial && one.kind === data().kind).map((one) => nameOf(one.build));
    const done = [...(data().plan?.made ?? []), ...waiting];
    for (const build of order) {
      const place = done.indexOf(build);
      if (place < 0) return builds().find((one) => one.name === build).id;
      done.splice(place, 1);
    }
    const next = waiting.length ? null : builds().find((one) => one.name === data().next_build);
    if (next) return next.id;
    const count = (one) => [...(data().plan?.made ?? []), ...waiting].filter((name) => name === one.name).length;
    return builds().reduce((least, one) => (count(one) < count(least) ? one : least)).id;
  };

  const begin = (like = {}) => {
    const card = data();
    keep.saveDraft(trial, keep.freshRun({ build: nextBuild(), rig: like.rig ?? card.usual_rig, kind: like.kind ?? card.kind }));
  };
  const isEmpty = (one) => one.watch.began_at === null && !one.beats && !one.note && !one.duration && !Object.keys(one.readings).length;

  // ---- what was typed, as the book takes it

  const typed = (reading) => (reading && reading.digits ? `${reading.digits.replace(/[.:]$/, "")} ${reading.unit ?? ""}`.trim() : "");
  const duration = (one) => one.duration || (one.watch.elapsed_ms === null ? "" : watch.words(one.watch.elapsed_ms));
  // the book reads "0:45.2" as it reads "2:00"; what is shown is what is sent
  const entered = (one) => {
    const table = { kind: one.kind };
    const timed = data().timed.includes(one.kind);
    if (timed && duration(one)) table.duration = duration(one);
    if (data().beating.includes(one.kind) && one.beats) table.beats = one.beats;
    for (const reading of data().readings) {
      const words = typed(one.readings[reading.key]);
      if (words) table[reading.key] = words;
    }
    if (one.note.trim()) table.note = one.note.trim();
    return table;
  };
  const missing = (one) => {
    const table = entered(one);
    const names = firstReadings().filter((each) => !table[each.key]).map((each) => each.label.toLowerCase());
    if (isBeating() && !one.beats) names.unshift("beats");
    if (isTimed() && !table.duration) names.unshift("time");
    return names;
  };

  // ---- the parts of the page

  const showSign = () => {
    const runs = keep.queue();
    const refused = runs.filter((one) => one.state !== "waiting").length;
    const waiting = runs.length - refused;
    let words = keep.sent().length ? "\u25cf All sent" : "\u25cb Nothing to send yet";
    if (refused) words = `\u25b2 ${refused} to correct${waiting ? `, ${waiting} waiting` : ""}`;
    else if (runs.length) {
      words = `\u25cb ${runs.length} kept on this phone, not yet sent`;
      if (keep.isSending()) words = `\u25cb Sending ${runs.length}\u2026`;
    }
    text("card-sign", words);
    byId("card-sign").dataset.state = refused ? "refused" : runs.length ? "kept" : "sent";
    const trouble = keep.failed();
    hide("card-trouble", !trouble);
    text("card-trouble", trouble);
  };

  const showBuilds = () => {
    const next = nextBuild();
    byId("card-builds").replaceChildren(
      ...builds().map((one) => {
        const made = keys.button(one.name, () => keep.change(trial, "build", "build", one.id));
        made.setAttribute("aria-pressed", String(run().build === one.id));
        if (one.id === next) {
          const sign = document.createElement("small");
          sign.textContent = "next by the plan";
          made.append(sign);
        }
        return made;
      }),
    );
    const rig = data().rigs.find((one) => one.id === run().rig)?.name ?? "no rig";
    const kind = data().kinds.find((one) => one.kind === run().kind)?.words ?? "";
    text("card-kind", `${kind} \u00b7 ${rig}`);
  };

  const showWatch = () => {
    const one = run();
    const running = watch.isRunning(one.watch);
    const passed = watch.elapsed(one.watch);
    text("card-watch", watch.words(passed));
    byId("card-watch").dataset.state = running ? "running" : one.watch.began_at === null ? "idle" : "stopped";
    text("card-start", running ? "Stop" : one.watch.began_at === null ? "Start" : "Readings \u25b8");
    byId("card-start").dataset.running = String(running);
    byId("card-lap").disabled = !running;
    text("card-count", String(one.beats));
    const rate = one.beats > 1 && passed > 3000 ? `${((one.beats / passed) * 60000).toFixed(1)} a minute` : "";
    text("card-rate", rate);
    return running;
  };

  const showLaps = () => {
    const { laps } = run().watch;
    byId("card-laps").replaceChildren(
      ...laps.slice(-3).map((lap) => {
        const line = document.createElement("li");
        line.textContent = `lap ${laps.indexOf(lap) + 1}: ${watch.words(lap.at_ms)}${isBeating() ? `, ${lap.beats} beats` : ""}`;
        return line;
      }),
    );
  };

  const undoWords = () => {
    const last = run().undo.at(-1);
    return last ? `Undo ${last[0]}` : "Undo";
  };

  const showRun = () => {
    hide("card-beats", !isBeating());
    const words = isTimed() ? "No beats in this kind of run." : "This kind of run needs no watch: read the gauge at its highest, then go to Readings.";
    hide("card-no-beats", isBeating());
    text("card-no-beats", words);
    for (const id of ["card-undo", "card-undo-reading"]) {
      text(id, undoWords());
      byId(id).disabled = !run().undo.length;
    }
    showBuilds();
    showWatch();
    showLaps();
  };

  const row = (label, value, wrong, act) => {
    const line = document.createElement("li");
    const made = keys.button("", act, wrong ? { class: "wrong" } : {});
    const name = document.createElement("span");
    name.textContent = label;
    const shown = document.createElement(value ? "strong" : "span");
    shown.textContent = value || "tap to type";
    shown.className = value ? "" : "quiet";
    made.append(name, shown);
    line.append(made);
    return line;
  };

  const askReading = (reading, following) => {
    const now = run().readings[reading.key];
    keys.ask({
      label: reading.label,
      digits: now?.digits ?? "",
      unit: now?.unit ?? keep.unit(reading.key) ?? reading.units[0],
      units: reading.units,
      changed: (digits, unit) => {
        keep.saveUnit(reading.key, unit);
        const readings = { ...run().readings, [reading.key]: { digits, unit } };
        if (!digits) delete readings[reading.key];
        keep.change(trial, reading.label.toLowerCase(), "readings", readings, true);
      },
      next: following ?? null,
    });
  };
  const askDuration = (following) =>
    keys.ask({
      label: "Time, minutes:seconds or seconds",
      digits: duration(run()).replace(" s", ""),
      unit: null,
      clock: true,
      changed: (digits) => {
        const tidy = digits.replace(/[.:]$/, "");
        keep.change(trial, "time", "duration", tidy && !tidy.includes(":") ? `${tidy} s` : tidy, true);
      },
      next: following,
    });
  const askBeats = (following) =>
    keys.ask({
      label: "Beats",
      digits: run().beats ? String(run().beats) : "",
      unit: null,
      decimal: false,
      changed: (digits) => keep.change(trial, "beats", "beats", Number(digits || 0), true),
      next: following,
    });

  const asked = () => {
    const list = [];
    if (isTimed()) list.push({ key: "duration", label: "Time", value: duration(run()), ask: askDuration });
    if (isBeating()) list.push({ key: "beats", label: "Beats", value: run().beats ? String(run().beats) : "", ask: askBeats });
    for (const each of firstReadings()) {
      list.push({ key: each.key, label: each.label, value: typed(run().readings[each.key]), ask: (next) => askReading(each, next) });
    }
    return list.map((one, place) => ({ ...one, act: () => one.ask(list[place + 1] ? () => asked()[place + 1].act() : null) }));
  };

  const showReadings = () => {
    const refused = run().refused;
    const wrong = (key) => Boolean(refused?.field.includes(key));
    hide("card-refused", !refused);
    text("card-refused", refused ? `The book refused this run: ${refused.sentence} Correct it and keep it again.` : "");
    byId("card-readings").replaceChildren(...asked().map((one) => row(one.label, keys.shown(one.value), wrong(one.key), one.act)));
    const more = moreReadings();
    byId("card-readings-more").replaceChildren(
      ...more.map((one) => row(one.label, keys.shown(typed(run().readings[one.key])), wrong(one.key), () => askReading(one))),
    );
    if (more.some((one) => run().readings[one.key]) || run().note) openMore(true);
    if (document.activeElement !== byId("card-note")) byId("card-note").value = run().note;
    const cautions = (data().card_cautions[run().kind] ?? []).map((words) => {
      const line = document.createElement("p");
      line.className = "caution";
      line.textContent = `Caution. ${words}`;
      return line;
    });
    byId("card-cautions").replaceChildren(...cautions);
  };
  const openMore = (open) => {
    hide("card-extra", !open);
    byId("card-more").setAttribute("aria-expanded", String(open));
  };

  const show = () => {
    showSign();
    if (!data() || !run()) return;
    byId("card").setAttribute("aria-busy", "false");
    text("card-title", data().trial.name);
    byId("card-back").href = `/trials/${trial}`;
    showRun();
    if (pane === "readings") showReadings();
    if (pane === "runs") window.runList.show(trial, data(), { correct, throwAway });
  };

  const open = (name) => {
    pane = name;
    for (const one of ["watch", "readings", "runs"]) hide(`pane-${one}`, one !== name);
    for (const tab of document.querySelectorAll("[data-pane]")) tab.setAttribute("aria-pressed", String(tab.dataset.pane === name));
    hide("card-missing", true);
    window.scrollTo(0, 0);
    show();
  };

  // ---- what is done

  // A finger acts as it comes down; keyboard and screen reader send a click without one. What moves on to another part of
  // the card waits for the click, else that would land on what has taken the button's place.
  const onTouch = (id, act) => {
    let finger = null;
    byId(id).addEventListener("pointerdown", (event) => {
      if (event.button === 0) finger = { acted: act(event.timeStamp, true) };
    });
    byId(id).addEventListener("click", (event) => {
      const done = finger?.acted ?? false;
      finger = null;
      if (!done) act(event.timeStamp, false);
    });
    // a finger that slid off sends no click
    for (const end of ["pointerup", "pointercancel"]) window.addEventListener(end, () => setTimeout(() => (finger = null), 400));
  };

  let frame = null;
  const tick = () => {
    frame = run() && showWatch() ? requestAnimationFrame(tick) : null;
  };
  const startTicking = () => {
    frame ??= requestAnimationFrame(tick);
  };

  let lock = null;
  const holdAwake = async (awake) => {
    try {
      if (awake) lock ??= await navigator.wakeLock?.request("screen");
      else await lock?.release();
      if (!awake) lock = null;
    } catch (error) {
      lock = null; // the phone may sleep: the watch goes on all the same
    }
  };

  const startOrStop = (steady, isTouch) => {
    const one = run();
    const running = watch.isRunning(one.watch);
    if (!running && one.watch.began_at !== null) {
      if (!isTouch) open("readings");
      return false;
    }
    if (running) keep.change(trial, "stop", "watch", watch.stopped(one.watch, steady));
    else keep.change(trial, "start", "watch", watch.started(steady));
    holdAwake(!running);
    startTicking();
    return true;
  };
  const beat = () => {
    keep.change(trial, "beat", "beats", run().beats + 1);
    navigator.vibrate?.(15);
    return true;
  };
  const lap = (steady) => {
    if (!watch.isRunning(run().watch)) return false;
    keep.change(trial, "lap", "watch", watch.lapped(run().watch, steady, run().beats));
    return true;
  };
  const undo = () => {
    keep.undo(trial);
    startTicking();
  };

  const queued = (one, state) => ({
    request_id: one.request_id,
    trial,
    trial_made_at: data().trial.made_at,
    build: one.build,
    build_name: nameOf(one.build),
    rig: one.rig,
    kind: one.kind,
    entered: entered(one),
    draft: { ...one, undo: [], refused: null },
    state,
  });

  let asksAgain = false;
  const finish = () => {
    const one = run();
    const names = missing(one);
    if (isEmpty(one)) names.unshift("anything");
    if (watch.isRunning(one.watch)) {
      text("card-missing", "The watch is still running: stop it first.");
      hide("card-missing", false);
      return;
    }
    if (isEmpty(one) || (names.length && !asksAgain)) {
      text("card-missing", `Not typed: ${names.join(", ")}.${isEmpty(one) ? "" : " Press once more to keep the run without."}`);
      hide("card-missing", false);
      asksAgain = !isEmpty(one);
      return;
    }
    asksAgain = false;
    keep.enqueue(queued(one, "waiting"));
    const aside = keep.aside(trial);
    if (aside) {
      keep.saveDraft(trial, aside);
      keep.putAside(trial, null);
    } else begin(one);
    open("runs");
    keep.send();
  };

  const correct = (item) => {
    if (!isEmpty(run()) && run().request_id !== item.request_id && !keep.aside(trial)) keep.putAside(trial, run());
    keep.mark(item.request_id, { state: "correcting" });
    keep.saveDraft(trial, { ...item.draft, refused: { sentence: item.sentence, field: item.field } });
    open("readings");
  };
  const throwAway = (item) => {
    if (!window.confirm("Throw this run away? It is not in the book and cannot be brought back.")) return;
    if (run().request_id === item.request_id) begin();
    keep.drop(item.request_id);
    keep.send();
  };
  const clear = () => {
    if (isEmpty(run()) || window.confirm("Throw away what this card holds and start the run afresh?")) {
      if (run().refused) keep.drop(run().request_id);
      begin(run());
      open("watch");
    }
  };

  const chooseHow = () => {
    const choice = (words, part, value) =>
      keys.button(words, () => {
        keep.change(trial, part, part, value);
        fill();
      }, { "aria-pressed": String(run()[part] === value) });
    const fill = () => {
      byId("how-kinds").replaceChildren(...data().kinds.map((one) => choice(one.words, "kind", one.kind)));
      byId("how-rigs").replaceChildren(...data().rigs.map((one) => choice(one.name, "rig", one.id)));
    };
    fill();
    byId("how").showModal();
  };

  // ---- the book's side

  const renew = async () => {
    const { status, told } = await keep.ask(`/api/bench/trials/${trial}/card`);
    if (status === 200) keep.saveCardData(trial, told);
    else if (!data()) {
      text("card-trouble", status === 0 ? NO_NETWORK : told.error ?? "The book does not answer; try again.");
      hide("card-trouble", false);
      return;
    }
    if (!run()) begin();
    show();
  };

  // the card itself is kept for a reload without a connection: by the worker where the browser allows one, else by its cache
  const keepCard = async () => {
    const needed = [...document.querySelectorAll("script[src], link[href]")].map((one) => one.src || one.href);
    const fonts = ["/static/fonts/Lato-Regular.ttf", "/static/fonts/Lato-Bold.ttf"];
    try {
      if (LOADS_ANEW) {
        await navigator.serviceWorker.register("/bench/run_worker.js", { scope: "/bench/" });
        const worker = (await navigator.serviceWorker.ready).active;
        worker.postMessage({ keep: ["/bench/card", ...needed, ...fonts] });
      } else await fetch(location.href, { cache: "reload" });
    } catch (error) {
      // without a connection there is nothing newer to keep
    }
  };

  for (const tab of document.querySelectorAll("[data-pane]")) tab.addEventListener("click", () => open(tab.dataset.pane));
  onTouch("card-start", startOrStop);
  onTouch("card-beats", beat);
  onTouch("card-lap", lap);
  byId("card-undo").addEventListener("click", undo);
  byId("card-undo-reading").addEventListener("click", undo);
  byId("card-kind").addEventListener("click", chooseHow);
  byId("how-close").addEventListener("click", () => byId("how").close());
  byId("card-more").addEventListener("click", () => openMore(byId("card-extra").hidden));
  byId("card-note").addEventListener("input", (event) => keep.saveDraft(trial, { ...run(), note: event.target.value }));
  byId("card-finish").addEventListener("click", finish);
  byId("card-clear").addEventListener("click", clear);
  byId("card-send").addEventListener("click", () => keep.send().then(renew));
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "visible" && run()) {
      startTicking();
      holdAwake(watch.isRunning(run().watch));
    }
  });
  // without a worker a reload in the yard finds nothing: ask before it, while the card holds anything
  const askToStay = (event) => {
    if (run() && (!isEmpty(run()) || keep.queue().length)) event.preventDefault();
  };
  if (!LOADS_ANEW) window.addEventListener("beforeunload", askToStay);
  hide("card-stay", LOADS_ANEW);
  window.addEventListener("online", () => keep.queue().length || renew());
  keep.tell(show);
  if (data()) {
    if (!run()) begin();
    show();
    startTicking();
  }
  keep.send().then(renew).then(keepCard);
})();

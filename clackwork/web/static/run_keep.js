// What the run card keeps on the phone: the run under way, runs finished and not yet sent, and how they are sent.
// Every change is written to localStorage at once; nothing is taken off the list before the book has said that it has it.
"use strict";

window.runKeep = (() => {
  const KEY = "clackwork.card.";
  const SENT_KEPT = 30;
  const UNDO_KEPT = 120;
  const PATIENCE_MS = 15000;
  const listeners = new Set();
  let failed = "";

  const read = (name, otherwise) => {
    try {
      const text = localStorage.getItem(KEY + name);
      return text === null ? otherwise : JSON.parse(text);
    } catch (error) {
      return otherwise;
    }
  };
  const write = (name, value) => {
    try {
      if (value === null) localStorage.removeItem(KEY + name);
      else localStorage.setItem(KEY + name, JSON.stringify(value));
      failed = "";
    } catch (error) {
      failed = "This phone refuses to keep anything: write the readings on paper too.";
    }
    for (const tell of listeners) tell();
  };

  // made here and not by the server, so that a run sent twice is known by it; works without a secure connection too
  const requestId = () => {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    return `card-${[...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("")}`;
  };

  const freshRun = (like) => ({
    request_id: requestId(),
    build: like.build ?? null,
    rig: like.rig ?? null,
    kind: like.kind ?? null,
    watch: { began_at: null, elapsed_ms: null, seen_ms: 0, laps: [] },
    duration: "",
    beats: 0,
    readings: {},
    note: "",
    undo: [],
    refused: null,
  });

  const draft = (trial) => read(`draft.${trial}`, null);
  const saveDraft = (trial, run) => write(`draft.${trial}`, run);

  // change one part of the run under way; what was there before goes on the list that Undo takes from; the keys of one
  // reading are undone together
  const change = (trial, words, part, value, together = false) => {
    const run = draft(trial);
    const last = run.undo.at(-1);
    if (!(together && last && last[0] === words && last[1] === part)) run.undo.push([words, part, run[part]]);
    run.undo = run.undo.slice(-UNDO_KEPT);
    run[part] = value;
    saveDraft(trial, run);
    return run;
  };
  const undo = (trial) => {
    const run = draft(trial);
    const last = run.undo.pop();
    if (last) run[last[1]] = last[2];
    saveDraft(trial, run);
    return last?.[0] ?? "";
  };

  const queue = () => read("queue", []);
  const saveQueue = (runs) => write("queue", runs);

  // a run corrected goes back to its own place, so that the order stays that of the yard
  const enqueue = (item) => {
    const runs = queue();
    const place = runs.findIndex((one) => one.request_id === item.request_id);
    if (place < 0) runs.push(item);
    else runs[place] = item;
    saveQueue(runs);
  };
  const mark = (id, more) => {
    saveQueue(queue().map((one) => (one.request_id === id ? { ...one, ...more } : one)));
  };
  const drop = (id) => saveQueue(queue().filter((one) => one.request_id !== id));

  const cardData = (trial) => read(`trial.${trial}`, null);
  const saveCardData = (trial, data) => write(`trial.${trial}`, data);

  const ask = async (path, body) => {
    const stop = new AbortController();
    const timer = setTimeout(() => stop.abort(), PATIENCE_MS);
    try {
      const answer = await fetch(path, {
        method: body ? "POST" : "GET",
        headers: { accept: "application/json", ...(body ? { "content-type": "application/json" } : {}) },
        body: body ? JSON.stringify(body) : undefined,
        cache: "no-store",
        credentials: "same-origin",
        signal: stop.signal,
      });
      return { status: answer.status, told: await answer.json().catch(() => ({})) };
    } catch (error) {
      return { status: 0, told: {} };
    } finally {
      clearTimeout(timer);
    }
  };

  // What concerns the run itself comes back for correction; all else waits and is tried again: no network, a book that is
  // shut, another book that lies open.
  const isRefusal = (status) => [400, 409, 413, 422].includes(status);

  let sending = false;
  let trouble = "";
  const sendOne = async (one) => {
    const { status, told } = await ask(`/api/bench/trials/${one.trial}/runs`, {
      build_id: one.build,
      rig_id: one.rig,
      entered: one.entered,
      request_id: one.request_id,
      trial_made_at: one.trial_made_at,
    });
    if (status === 200 || status === 201) {
      const kept = { request_id: one.request_id, trial: one.trial, name: told.run.name, sent_at: Date.now() };
      write("sent", [kept, ...read("sent", [])].slice(0, SENT_KEPT));
      drop(one.request_id);
      saveCardData(one.trial, told.card);
      trouble = "";
      return true;
    }
    if (isRefusal(status)) mark(one.request_id, { state: "refused", sentence: told.error ?? "It was refused.", field: told.field ?? "" });
    else trouble = status === 0 ? "No connection." : told.error ?? `The book does not answer (${status}).`;
    return false;
  };

  const send = async () => {
    if (sending) return;
    sending = true;
    try {
      for (;;) {
        const first = queue()[0];
        if (!first || first.state !== "waiting") break;
        if (!(await sendOne(first))) break;
      }
    } finally {
      sending = false;
      for (const tell of listeners) tell();
    }
  };

  window.addEventListener("storage", (event) => {
    if (event.key?.startsWith(KEY)) for (const tell of listeners) tell();
  });
  window.addEventListener("online", send);
  document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && send());
  setInterval(() => queue().length && send(), 10000);

  return {
    freshRun, draft, saveDraft, change, undo, queue, enqueue, mark, drop, cardData, saveCardData, ask, send,
    aside: (trial) => read(`aside.${trial}`, null),
    putAside: (trial, run) => write(`aside.${trial}`, run),
    unit: (key) => read(`unit.${key}`, null),
    saveUnit: (key, unit) => write(`unit.${key}`, unit),
    sent: () => read("sent", []),
    failed: () => failed,
    trouble: () => trouble,
    isSending: () => sending,
    tell: (listener) => listeners.add(listener),
  };
})();

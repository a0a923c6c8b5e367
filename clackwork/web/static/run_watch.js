// The stopwatch of the run card. Where it stands is worked out anew each time it is looked at, so it cannot drift, and
// the moment it was started is kept, so it runs on through a reload.
"use strict";

window.runWatch = (() => {
  // When this page took a running watch over: what had passed by then, and both clocks.
  let held = null;

  const now = () => ({ steady: performance.now(), wall: Date.now() });

  const take = (watch) => {
    const at = now();
    held = { began_at: watch.began_at, passed: Math.max(0, at.wall - watch.began_at, watch.seen_ms), at };
  };

  // `steady`: the moment of a touch by the page's steady clock, which is a little before the script gets to it
  const elapsed = (watch, steady = null) => {
    if (watch.elapsed_ms !== null) return watch.elapsed_ms;
    if (watch.began_at === null) return 0;
    if (held === null || held.began_at !== watch.began_at) take(watch);
    const at = now();
    const late = steady === null ? 0 : Math.max(0, at.steady - steady);
    // the steady clock stands still while some phones sleep; the wall clock may be set back: the larger of the two holds
    const since = Math.max(at.steady - held.at.steady, at.wall - held.at.wall);
    return Math.max(0, held.passed + since - late);
  };

  const isRunning = (watch) => watch.began_at !== null && watch.elapsed_ms === null;

  const started = (steady) => {
    const late = Math.max(0, performance.now() - steady);
    const watch = { began_at: Date.now() - late, elapsed_ms: null, seen_ms: 0, laps: [] };
    held = { began_at: watch.began_at, passed: late, at: now() };
    return watch;
  };
  const stopped = (watch, steady) => {
    const passed = elapsed(watch, steady);
    return { ...watch, elapsed_ms: passed, seen_ms: passed };
  };
  const lapped = (watch, steady, beats) => {
    const passed = elapsed(watch, steady);
    return { ...watch, seen_ms: passed, laps: [...watch.laps, { at_ms: passed, beats }] };
  };

  // "1:23.4": tenths, as a hand reads them
  const words = (ms) => {
    const tenths = Math.round(ms / 100);
    const minutes = Math.floor(tenths / 600);
    const rest = `${String(Math.floor((tenths % 600) / 10)).padStart(2, "0")}.${tenths % 10}`;
    if (minutes < 60) return `${minutes}:${rest}`;
    return `${Math.floor(minutes / 60)}:${String(minutes % 60).padStart(2, "0")}:${rest}`;
  };

  return { elapsed, isRunning, started, stopped, lapped, words };
})();

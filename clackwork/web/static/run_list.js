// The runs of a trial on the run card: those still on the phone, those in the book, their picture and whether they are enough.
"use strict";

window.runList = (() => {
  const byId = (id) => document.getElementById(id);
  const keep = window.runKeep;
  const keys = window.runKeys;
  const text = (id, words) => {
    byId(id).textContent = words;
  };
  const hide = (id, hidden) => {
    byId(id).hidden = hidden;
  };

  const showQueue = (trial, act) => {
    const runs = keep.queue();
    hide("card-queue-title", !runs.length);
    hide("card-send", !runs.some((one) => one.state === "waiting"));
    byId("card-queue").replaceChildren(
      ...runs.map((one) => {
        const line = document.createElement("li");
        const words = document.createElement("p");
        const readings = Object.entries(one.entered).filter(([key]) => !["kind", "note"].includes(key)).map(([, value]) => value);
        words.textContent = `${one.build_name}: ${readings.join(", ")}`;
        line.append(words);
        if (one.state !== "waiting") {
          const why = document.createElement("p");
          why.className = "error";
          why.textContent = one.state === "correcting" ? "Being corrected now." : one.sentence;
          line.append(why);
          if (one.trial === trial) line.append(keys.button("Correct it", () => act.correct(one)));
        }
        if (one.state !== "waiting" || keep.trouble()) {
          line.append(keys.button("Throw it away", () => act.throwAway(one), { class: "plain-action" }));
        }
        return line;
      }),
    );
    const waiting = runs.filter((one) => one.trial === trial).length;
    text("card-seen", keep.trouble() && runs.length ? `${keep.trouble()} The runs stay on this phone until the book has them.` : "");
    return waiting;
  };

  const show = (trial, card, act) => {
    const waiting = showQueue(trial, act);
    text("card-enough", waiting ? `${waiting} more on this phone, not counted yet. ${card.enough_sentence}` : card.enough_sentence);
    text("card-known", card.sentence);
    const scatter = card.builds.map((one) => {
      const part = document.createElement("div");
      const name = document.createElement("dt");
      name.textContent = `${one.build}, ${one.runs} ${one.runs === 1 ? "run" : "runs"}`;
      const words = document.createElement("dd");
      words.textContent = one.mean_words;
      const small = document.createElement("small");
      small.textContent = one.scatter_words;
      words.append(small);
      part.append(words, name);
      return part;
    });
    byId("card-scatter").replaceChildren(...scatter);
    byId("card-list").replaceChildren(
      ...card.runs.toReversed().slice(0, 40).map((one) => {
        const line = document.createElement("li");
        const name = document.createElement("strong");
        name.textContent = one.name;
        const words = document.createElement("span");
        words.textContent = one.compared ? `${one.shown}${one.odd ? ", looks odd" : ""}` : one.why_not;
        line.append(name, words);
        return line;
      }),
    );
    const picture = byId("card-picture");
    hide("card-picture", !card.picture);
    if (card.picture) picture.src = `data:image/svg+xml;charset=utf-8,${encodeURIComponent(card.picture)}`;
    picture.alt = card.picture ? `Every run so far: ${card.builds.map((one) => `${one.build} ${one.mean_words}`).join(", ")}` : "";
  };

  return { show };
})();

// Draws each <div class="chart" data-spec-url="..."> live; where that fails, shows the server's own drawing of it.
"use strict";

(() => {
  const library = document.currentScript.dataset.library;
  let loading = null;
  const load = () => {
    loading ??= new Promise((done, failed) => {
      const script = document.createElement("script");
      script.src = library;
      script.onload = done;
      script.onerror = failed;
      document.head.append(script);
    });
    return loading;
  };

  const asPicture = (place, words) => {
    const picture = document.createElement("img");
    picture.src = place.dataset.svgUrl ?? place.dataset.specUrl.replace(/(\?|$)/, ".svg$1");
    picture.alt = words ?? place.getAttribute("aria-label") ?? "";
    place.replaceChildren(picture);
    place.dataset.drawn = "picture";
  };

  const draw = async (place) => {
    if (place.dataset.drawn) return;
    place.dataset.drawn = "begun";
    let spec = null;
    try {
      const answer = await fetch(place.dataset.specUrl, { headers: { accept: "application/json" } });
      if (!answer.ok) throw new Error(`status ${answer.status}`);
      spec = await answer.json();
      await load();
      const target = document.createElement("div");
      target.className = "chart-body";
      place.replaceChildren(target);
      await window.vegaEmbed(target, spec, { ast: true, actions: false, renderer: "svg", defaultStyle: false, tooltip: false });
      target.querySelector("svg")?.setAttribute("aria-label", spec.description ?? "");
      place.dataset.drawn = "live";
    } catch (error) {
      asPicture(place, spec?.description);
    }
  };

  const drawAll = (root) => {
    for (const place of root.querySelectorAll(".chart[data-spec-url]")) draw(place);
  };
  drawAll(document);
  document.addEventListener("htmx:after:swap", () => drawAll(document));
})();

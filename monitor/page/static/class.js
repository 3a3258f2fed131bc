// One row a station, in the order that the server gives: whose hands are wanted next comes first.
"use strict";
(() => {
  const by = id => document.getElementById(id);
  const sentences = JSON.parse(by("words").textContent);
  const staleS = Number(document.querySelector("script[data-stale-s]").dataset.staleS);
  const known = new Map();
  let heardS = 0;

  const nowS = () => performance.now() / 1000;

  function row(station) {
    if (!known.has(station)) {
      const made = document.createElement("tr");
      const name = made.appendChild(document.createElement("th"));
      name.scope = "row";
      name.textContent = station;
      for (const kind of ["head", "hand", "wide", "word"]) made.appendChild(document.createElement("td")).className = kind === "head" ? "stage" : kind;
      known.set(station, made);
    }
    return known.get(station);
  }

  function put(at, text) {
    if (at.textContent !== text) at.textContent = text;
  }

  function render(told) {
    const rows = told.rows.map(one => {
      const made = row(one.station), [, stage, hand, wide, word] = made.children;
      made.dataset.frame = one.frame;
      made.toggleAttribute("data-silent", one.silent);
      put(stage, one.head);
      put(hand, one.hand);
      put(wide, one.fault || [one.developer, one.recipe].filter(Boolean).join(" · "));
      wide.classList.toggle("trouble", Boolean(one.fault));
      put(word, one.word);
      return made;
    });
    const now = [...by("rows").children];
    if (rows.length !== now.length || rows.some((one, k) => one !== now[k])) by("rows").replaceChildren(...rows);
    by("none").hidden = rows.length > 0;
    put(by("aloud"), told.rows.filter(one => one.frame === "thick").map(one => `${one.station}: ${one.hand}`).join(". "));
  }

  document.addEventListener("word", event => {
    heardS = nowS();
    render(event.detail);
    age();
  });

  function age() {
    const wordS = nowS() - heardS, old = wordS > staleS;
    document.documentElement.toggleAttribute("data-stale", old);
    put(by("word"), (old ? sentences.old_for : sentences.word).replace("{age}", old ? Math.floor(wordS) : wordS.toFixed(1)));
  }

  document.addEventListener("age", age);
})();

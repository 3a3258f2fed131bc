// Fills the slots of the page from each word of the station (lease.js). It decides nothing: words and pictures come made.
"use strict";
(() => {
  const by = id => document.getElementById(id);
  const sentences = JSON.parse(by("words").textContent);
  const root = document.documentElement;
  const staleS = Number(document.querySelector("script[data-stale-s]").dataset.staleS);
  const INTERPOLATED_S = 2;
  let told = null, heardS = 0, drawn = {}, stale = false, answers = {};

  const nowS = () => performance.now() / 1000;
  const fill = (text, fields) => text.replace(/\{(\w+)\}/g, (_, name) => fields[name]);

  function put(id, text) {
    const at = by(id);
    if (at.textContent !== text) at.textContent = text;
  }

  function clock(seconds) {
    const whole = Math.max(0, Math.ceil(seconds - 1e-6));
    const minutes = Math.floor(whole / 60), rest = String(whole % 60).padStart(2, "0");
    return minutes < 60 ? `${minutes}:${rest}` : `${Math.floor(minutes / 60)}:${String(minutes % 60).padStart(2, "0")}:${rest}`;
  }

  function draw(id, svg) {
    if (drawn[id] !== svg) by(id).innerHTML = drawn[id] = svg;
  }

  function figure(text) {
    put("figure", text);
    by("figure").className = "figure" + (text.length > 9 ? " longer" : text.length > 7 ? " long" : "");
  }

  function rows(list) {
    const at = by("more");
    const text = JSON.stringify(list);
    if (drawn.more === text) return;
    drawn.more = text;
    at.replaceChildren(...list.flatMap(([name, words]) => {
      const term = document.createElement("dt"), said = document.createElement("dd");
      term.textContent = name;
      said.textContent = words;
      return [term, said];
    }));
  }

  function others(list) {
    const text = JSON.stringify(list);
    if (drawn.others === text) return;
    drawn.others = text;
    by("others").hidden = list.length === 0;
    by("others").replaceChildren(...list.map(words => {
      const item = document.createElement("li");
      item.textContent = words;
      return item;
    }));
  }

  function render() {
    const slots = told.slots;
    put("head", slots.head);
    put("whose", slots.whose);
    by("whose").hidden = !slots.whose;
    put("trust", slots.fault || slots.trust);
    by("trust-slot").classList.toggle("fault", Boolean(slots.fault));
    by("hands").dataset.frame = slots.frame;
    put("hint", slots.hint);
    figure(slots.figure);
    put("verb", slots.verb);
    put("temperature", slots.temperature);
    put("temperature_of", slots.temperature_of);
    put("then", slots.then);
    draw("rail", slots.rail);
    draw("trace", slots.trace);
    rows(slots.more);
    others(told.others);
    by("report").hidden = !slots.report;
    if (slots.report) by("report").firstElementChild.href = "/reports/" + encodeURIComponent(slots.report);
    found(slots);
    document.title = slots.whose ? `${slots.whose}: ${slots.head}` : slots.head;
  }

  // What was found out about a session that is over: asked for once, and again later where it could not be told yet.
  async function ask(session) {
    if (answers.session === session && (answers.words || nowS() < answers.againS)) return;
    answers = { session, words: null, againS: nowS() + 10 };
    try {
      const answer = await fetch("/answers/" + encodeURIComponent(session), { cache: "no-store" });
      if (answer.ok) answers.words = await answer.json();
    } catch { /* the report has it */ }
  }

  function found(slots) {
    if (slots.report) ask(slots.report);
    const words = answers.session === slots.report ? answers.words : null;
    if (!words) return;
    if (words.percent) {
      figure(words.percent);
      put("verb", fill(sentences.developed, { doubt: words.doubt }));
    }
    const time = words.Time ? words.Time.split(", as ")[0] : slots.hint;
    if (words.Hands && time) put("hint", fill(sentences.hands, { hint: time, words: words.Hands }));
    else if (time) put("hint", time);
    if (words["Next time"]) put("then", fill(sentences.next, { words: words["Next time"] }));
  }

  // Only changes of state are read aloud, never a count.
  function say(text) {
    if (drawn.said !== text) put("aloud", drawn.said = text);
  }

  function age(sinceS) {
    const known = told.station_age_s !== null;
    const wordS = (told.station_age_s ?? 0) + sinceS;
    const old = (known ? wordS : sinceS) > staleS;
    if (old) {
      const seconds = { age: Math.floor(wordS) };
      put("head", sentences.old);
      put("word", fill(sentences.old_for, seconds));
      if (!told.slots.fault) put("trust", sentences.old_trust);
      put("hint", fill(sentences.old_hint, seconds));
      put("then", sentences.old_then);
      say(sentences.old_said);
    } else {
      if (stale) render();
      put("word", !known ? "" : told.slots.closed ? fill(sentences.closed, { time: told.slots.closed }) : fill(sentences.word, { age: wordS.toFixed(1) }));
      if (told.slots.counts) figure(clock(told.to_pour_s - Math.min(wordS, INTERPOLATED_S)));
      say(told.slots.said);
    }
    stale = old;
    root.toggleAttribute("data-stale", old);
  }

  document.addEventListener("word", event => {
    told = event.detail;
    heardS = nowS();
    render();
    age(0);
  });
  document.addEventListener("age", () => { if (told !== null) age(nowS() - heardS); });
  document.addEventListener("dark", () => { stale = false; root.removeAttribute("data-stale"); });
})();

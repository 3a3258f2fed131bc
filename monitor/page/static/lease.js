// Lights a document as long as the station's word allows it, and makes it black again by itself: hidden, told so, or after silence.
// Each event is a whole snapshot. What it says is given on as an event "word" of the document; "age" comes while it is lit.
"use strict";
(() => {
  const own = document.currentScript.dataset;
  const blackS = Number(own.blackS);
  const root = document.documentElement;
  const QUIET_S = 4, AGAIN_S = 2, POLL_S = 1;
  let source = null, openedS = 0, polledS = 0, polling = false;
  let heardS = -Infinity, heardWall = 0, allowed = false;

  const nowS = () => performance.now() / 1000;
  // The clock of a page may stand still while a phone sleeps; the wall clock does not. The greater of the two is the age.
  const ageS = () => Math.max(nowS() - heardS, (Date.now() - heardWall) / 1000);

  function show() {
    const lit = allowed && document.visibilityState === "visible" && ageS() < blackS;
    if (lit !== root.hasAttribute("data-lit")) {
      root.toggleAttribute("data-lit", lit);
      document.dispatchEvent(new CustomEvent(lit ? "lit" : "dark"));
    }
    return lit;
  }

  function take(text) {
    let told;
    try { told = JSON.parse(text); } catch { return; }
    heardS = nowS();
    heardWall = Date.now();
    allowed = told.light === true;
    if (show()) document.dispatchEvent(new CustomEvent("word", { detail: told }));
  }

  function close() {
    if (source !== null) source.close();
    source = null;
  }

  function open() {
    close();
    openedS = nowS();
    source = new EventSource("/events");
    source.onmessage = event => take(event.data);
  }

  async function poll() {
    if (polling) return;
    polling = true;
    polledS = nowS();
    const stop = new AbortController(), timer = setTimeout(() => stop.abort(), 3000);
    try {
      const answer = await fetch("/snapshot", { cache: "no-store", signal: stop.signal });
      if (answer.ok) take(await answer.text());
    } catch { /* looked for again */ } finally {
      clearTimeout(timer);
      polling = false;
    }
  }

  function sleep() {
    close();
    forget();
  }

  function forget() {
    heardS = -Infinity;
    allowed = false;
    show();
  }

  function look() {
    const lit = show();
    if (document.visibilityState !== "visible") return;
    const quiet = Math.min(nowS() - openedS, ageS());
    const ended = source === null || source.readyState === EventSource.CLOSED;
    if (quiet > (ended ? AGAIN_S : QUIET_S)) open();
    if (ageS() > QUIET_S && nowS() - polledS > POLL_S) poll();
    if (lit) document.dispatchEvent(new CustomEvent("age"));
  }

  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "visible") { forget(); open(); } else sleep();
  });
  addEventListener("pageshow", event => { if (event.persisted) { forget(); open(); } });
  addEventListener("pagehide", sleep);
  document.addEventListener("freeze", sleep);
  document.addEventListener("resume", () => { forget(); open(); });
  setInterval(look, 250);
  if (document.visibilityState === "visible") open();
})();

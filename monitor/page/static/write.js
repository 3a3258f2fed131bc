// Posts what a form or a tick says, as JSON, and shows the one sentence that comes back. The page decides nothing; drafts outlive sleep.
"use strict";
(() => {
  const root = document.documentElement;
  const kept = (() => { try { return localStorage; } catch { return null; } })();
  const said = document.getElementById("said");

  function say(words, bad) {
    if (said === null) return;
    said.textContent = words;
    said.classList.toggle("refused", Boolean(bad));
  }

  async function post(path, told) {
    const stop = new AbortController(), timer = setTimeout(() => stop.abort(), 15000);
    try {
      const answer = await fetch(path, {
        method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(told),
        cache: "no-store", credentials: "same-origin", signal: stop.signal,
      });
      const words = (answer.headers.get("Content-Type") || "").startsWith("text/plain") ? await answer.text() : "";
      return { well: answer.ok, words };
    } catch {
      return { well: false, words: root.dataset.noAnswer || "" };
    } finally {
      clearTimeout(timer);
    }
  }

  function value(field) {
    const text = field.value;
    if (field.dataset.kind === "whole") return /^\d{1,9}$/.test(text) ? Number(text) : text;
    return field.dataset.kind === "or-none" && text === "" ? null : text;
  }

  function random() {
    return [...crypto.getRandomValues(new Uint8Array(16))].map(byte => byte.toString(16).padStart(2, "0")).join("");
  }

  // A code in the address is taken out of it at once: it stays in no history.
  for (const field of document.querySelectorAll("[data-fragment]")) {
    if (location.hash.length > 1) {
      field.value = location.hash.slice(1);
      history.replaceState(null, "", location.pathname);
    }
  }

  for (const form of document.querySelectorAll("form[data-post]")) {
    const draft = form.querySelector("[data-draft]"), once = form.querySelector("[data-once]");
    const name = draft === null ? "" : `draft ${form.dataset.post}`;
    const saved = () => { try { return JSON.parse(kept?.getItem(name) || "null"); } catch { return null; } };
    if (draft !== null) {
      const old = saved();
      if (old !== null) draft.value = old.text;
      if (once !== null) once.value = old?.key || random();
      draft.addEventListener("input", () => kept?.setItem(name, JSON.stringify({ text: draft.value, key: once?.value })));
    }
    form.addEventListener("submit", async event => {
      event.preventDefault();
      const button = form.querySelector("button");
      if (button.disabled) return;
      const words = button.textContent;
      button.disabled = true;
      if (form.dataset.waits !== undefined) {
        button.textContent = form.dataset.waits;
        say("", false);
      }
      const told = Object.fromEntries([...form.elements].filter(field => field.name).map(field => [field.name, value(field)]));
      const answer = await post(form.dataset.post, told);
      button.disabled = false;
      button.textContent = words;
      say(answer.words, !answer.well);
      if (!answer.well) return;
      if (draft !== null) kept?.removeItem(name);
      if (form.dataset.stay !== undefined) {
        form.hidden = true;
        return;
      }
      kept?.setItem("said", answer.words);
      location.reload();
    });
  }

  for (const box of document.querySelectorAll("input[data-tick]")) {
    box.addEventListener("change", async () => {
      const ticked = box.checked;
      box.disabled = true;
      const answer = await post(box.dataset.post, { recipe: box.dataset.recipe, item: box.dataset.tick, ticked });
      box.disabled = false;
      if (!answer.well) box.checked = !ticked;
      say(answer.words, !answer.well);
    });
  }

  const before = kept?.getItem("said");
  if (before) {
    kept.removeItem("said");
    say(before, false);
  }
})();

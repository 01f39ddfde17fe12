/* Gauges that type as a keyboard, and pages that change without losing a key. Everything here is an addition: without
   it the forms post and the pages load as usual.

   A reading ends with Enter, or with Tab when it came as fast as a gauge types. Ended readings and pressed buttons
   wait in one line, each with its own client id, and are posted in order to their form's address; the answer's page
   replaces what is shown. What waits is also in this tab's storage, so that a reload loses nothing. A reading leaves
   the line only when the bench has answered for it.

   What a page provides: main[data-swap]; form[data-reading-form] with input[data-reading], output[data-saved] and
   hidden "expected" and "client_id"; button value "read" saves a reading. A refused reading comes back as the same form with
   the typed text and a filled [data-problem]; any other refusal is the page [data-problem-page]. */
"use strict";

(() => {
  const BURST_MS = 90; // a hand needs more than this from one digit to the next, a gauge far less
  const SAME_TWICE_MS = 300;
  const SETTLE_MS = 700; // a longer pause than this ends what was being typed
  const STORE = "firstpull-waiting";
  const TYPED = "firstpull-typed";

  const strip = document.querySelector("[data-caught]");
  const words = JSON.parse(strip.dataset.words);
  const kept = read(STORE) || { line: [], caught: [] };
  let sending = false;
  let trouble = null; // {offline: bool, text} about the first in the line
  let retry = 0;
  let keys = { text: "", first: 0, last: 0, count: 0 };
  let ended = { text: "", at: -Infinity };
  let settle = 0;

  const field = () => document.querySelector("[data-reading]");
  const form = () => document.querySelector("[data-reading-form]");
  const fill = (text, value) => text.replace("{}", value);

  function read(name) {
    try { return JSON.parse(sessionStorage.getItem(name)); } catch { return null; }
  }
  function write(name, value) {
    try { sessionStorage.setItem(name, JSON.stringify(value)); } catch { /* storage is off: the line lives in memory */ }
  }
  function newId() {
    if (crypto.randomUUID) return crypto.randomUUID();
    const bytes = crypto.getRandomValues(new Uint8Array(16)); // a plant's plain http address has no randomUUID
    bytes[6] = (bytes[6] & 15) | 64;
    bytes[8] = (bytes[8] & 63) | 128;
    const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
    return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
  }

  /* ---- the line of what waits ---- */

  function take(text, at) {
    const target = form();
    const input = field();
    const item = { id: newId(), address: target.getAttribute("action"), name: input.name, text: text.trim() };
    item.held = item.text === ended.text && at - ended.at <= SAME_TWICE_MS;
    ended = { text: item.text, at: performance.now() };
    input.value = "";
    // an answer to the question under the field goes before what waits behind that question
    if (asked()) { clearProblem(); kept.line.unshift(item); } else kept.line.push(item);
    trouble = null;
    move();
  }
  function asked() {
    const shown = form() && form().querySelector("[data-problem] .problem-what");
    return Boolean(shown);
  }
  function clearProblem() {
    for (const place of form().querySelectorAll("[data-problem]")) place.replaceChildren();
  }

  function move() {
    write(STORE, kept);
    show();
    const item = kept.line[0];
    if (sending || !item || item.held || trouble || (item.text !== undefined && asked())) return;
    if (item.text !== undefined && (!form() || form().getAttribute("action") !== item.address)) {
      kept.line.shift(); // its question is gone: offer it instead of guessing
      kept.caught.push(item.text);
      move();
      return;
    }
    sending = true;
    send(item).catch(() => { trouble = { offline: true }; retry = setTimeout(again, 2000); }).finally(() => {
      sending = false;
      move();
    });
  }

  async function send(item) {
    const owner = [...document.querySelectorAll("main form")].find((one) => one.getAttribute("action") === item.address && one.elements.expected);
    const body = new URLSearchParams(item.text === undefined ? item.body : new FormData(form()));
    if (item.text !== undefined) { body.set("do", "read"); body.set(item.name, item.text); }
    if (owner) body.set("expected", owner.elements.expected.value);
    body.set("client_id", item.id);
    const answer = await fetch(item.address, { method: "POST", body, headers: { Accept: "text/html" } });
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const refused = page.querySelector("[data-problem-page]");
    if (answer.status >= 500 && !refused) throw new Error(answer.status);
    if (refused && !answer.ok) { trouble = { offline: false, text: refused.dataset.problemPage }; release(); return; }
    kept.line.shift();
    write(STORE, kept);
    swap(page, answer.url);
  }

  function again() {
    clearTimeout(retry);
    trouble = null;
    move();
  }
  async function refresh() {
    const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
    swap(new DOMParser().parseFromString(await answer.text(), "text/html"), answer.url);
    again();
  }
  function release() {
    for (const one of document.querySelectorAll("form[data-sent]")) delete one.dataset.sent;
  }

  /* ---- a new page in place of the old one, with what is being typed carried over ---- */

  function swap(page, address) {
    const fresh = page.querySelector("[data-swap]");
    const old = document.querySelector("[data-swap]");
    if (!fresh || !old) { location.assign(address); return; }
    const input = field();
    const typed = input && input.value !== input.defaultValue ? input.value : "";
    for (const part of [".band", ".foot"]) {
      const [now, next] = [document.querySelector(part), page.querySelector(part)];
      if (now && next) now.replaceWith(document.adoptNode(next));
    }
    old.replaceWith(document.adoptNode(fresh));
    document.title = page.title;
    if (address !== location.href) history.replaceState(null, "", address);
    if (window.htmx) window.htmx.process(fresh);
    if (typed && field() && !field().value) field().value = typed;
    else if (typed && keys.text) keys = { ...keys, text: typed, count: typed.length }; // still coming in: the catcher goes on with it
    else if (typed) kept.caught.push(typed);
    home(true);
  }
  function home(moved) {
    const input = field();
    if (input) {
      input.focus({ preventScroll: !moved });
      if (input.value && input.value === input.defaultValue) input.select(); // a questioned text: typing answers it
    } else if (moved) {
      const next = document.querySelector("main [autofocus]") || document.querySelector("#question");
      if (next) next.focus();
    }
  }

  /* ---- keys ---- */

  const number = () => keys.count >= 3 && /\d/.test(keys.text);
  const fast = () => number() && (keys.last - keys.first) / (keys.count - 1) <= BURST_MS;

  function track(event) {
    if (event.timeStamp - keys.last > SETTLE_MS) keys = { text: "", first: event.timeStamp, last: event.timeStamp, count: 0 };
    keys.text += event.key;
    keys.last = event.timeStamp;
    keys.count += 1;
  }
  function forget() { keys = { text: "", first: 0, last: -Infinity, count: 0 }; }

  function onKey(event) {
    if (event.ctrlKey || event.metaKey || event.altKey || event.isComposing) return;
    const input = field();
    const ends = event.key === "Enter" || (event.key === "Tab" && !event.shiftKey);
    if (input && event.target === input) {
      if (event.key.length === 1) track(event);
      else if (event.key === "Enter" || (ends && fast())) {
        event.preventDefault();
        if (input.value.trim()) take(input.value, keys.count ? keys.first : event.timeStamp);
        forget();
      }
      return;
    }
    if (event.target.closest("input:not([type=radio]):not([type=checkbox]), textarea, select")) return;
    clearTimeout(settle);
    if (ends && number() && event.timeStamp - keys.last <= SETTLE_MS) {
      event.preventDefault(); // else the gauge's Enter would press the button that has the focus
      caught();
    } else if (event.key.length === 1 && (event.key !== " " || keys.text)) {
      track(event);
      settle = setTimeout(() => { if (number()) caught(); else forget(); }, SETTLE_MS);
    }
  }
  function caught() {
    kept.caught.push(keys.text.trim());
    forget();
    move();
  }

  /* ---- the strip: one message at most ---- */

  function show() {
    const item = kept.line[0];
    const name = item && item.text !== undefined ? item.text : words.last_act;
    const input = field();
    if (item && item.held) {
      say(item.text, words.same_twice, [[words.count_it, () => { item.held = false; move(); }], [words.once_only, () => { kept.line.shift(); move(); }]]);
    } else if (trouble && trouble.offline) {
      say(name, kept.line.length > 1 ? fill(words.offline_more, kept.line.length - 1) : words.offline, [[words.try_now, again]]);
    } else if (trouble) {
      say(name, fill(words.refused, trouble.text), [[words.send_again, () => refresh().catch(() => { trouble = { offline: true }; move(); })], [words.drop, () => { kept.line.shift(); again(); }]]);
    } else if (kept.caught.length) {
      const text = kept.caught[0];
      const use = [fill(words.use_it, text), () => { kept.caught.shift(); take(text, Infinity); }];
      say(text, input ? words.caught : words.caught_no_field, [...(input ? [use] : []), [words.drop, () => { kept.caught.shift(); move(); }]]);
    } else if (!strip.hidden) {
      strip.hidden = true;
      strip.replaceChildren();
    }
    const place = document.querySelector("[data-saved]");
    if (place && kept.line.some((one) => one.text !== undefined) && !(item && item.held)) place.textContent = fill(words.waiting, kept.line.length);
  }
  function say(value, text, buttons) {
    const key = [value, text, ...buttons.map((one) => one[0])].join("|");
    const acts = buttons.map(([label, act]) => {
      const button = document.createElement("button");
      button.type = "button";
      button.className = "small";
      button.textContent = label;
      button.addEventListener("click", act);
      return button;
    });
    if (!strip.hidden && strip.dataset.key === key && strip.contains(document.activeElement)) {
      strip.querySelectorAll("button").forEach((old, at) => { const clone = acts[at]; const had = old === document.activeElement; old.replaceWith(clone); if (had) clone.focus(); });
      return;
    }
    const [number, line] = [document.createElement("b"), document.createElement("span")];
    number.textContent = value;
    line.textContent = text;
    strip.dataset.key = key;
    strip.replaceChildren(number, line, ...acts);
    strip.hidden = false;
  }

  /* ---- buttons, taps, the unit ---- */

  function onSubmit(event) {
    const target = event.target;
    const button = event.submitter;
    if (target.matches("[data-unit]")) { holdTyped(); return; }
    if (!target.closest("[data-swap]") || target.method !== "post" || target.enctype !== "application/x-www-form-urlencoded") return;
    event.preventDefault();
    if (target === form() && (!button || button.value === "read")) {
      if (field().value.trim()) take(field().value, event.timeStamp);
      else field().focus();
      return;
    }
    if (target.dataset.sent) return; // pressed twice
    target.dataset.sent = "yes";
    const body = new URLSearchParams(new FormData(target, button)).toString();
    const id = target.elements.client_id ? target.elements.client_id.value : newId();
    const item = { id, address: target.getAttribute("action"), body };
    if (asked()) kept.line.unshift(item); else kept.line.push(item);
    const input = target === form() ? field() : null;
    if (input) input.defaultValue = input.value; // it went along with the button
    again();
  }
  function holdTyped() {
    const texts = {}; // each with its unit: the next page has the other
    const refused = Boolean(document.querySelector("main [aria-invalid]")); // then the bench has filled in what was typed
    for (const input of document.querySelectorAll("main input[type=text][name]")) {
      const text = input.value.trim();
      if (!text || (input.value === input.defaultValue && !refused)) continue;
      const unit = /[a-z"]/i.test(text) || !input.dataset.unit ? "" : ` ${input.dataset.unit}`;
      texts[input.name] = text + unit;
    }
    const chosen = [...document.querySelectorAll("main input[type=radio]:checked")].map((one) => [one.name, one.value]);
    write(TYPED, { path: location.pathname + location.search, texts, chosen });
  }
  function closeMenu(event) {
    const menu = document.querySelector(".menu[open]");
    if (!menu || (event.type === "click" && menu.contains(event.target)) || (event.type === "keydown" && event.key !== "Escape")) return;
    menu.open = false;
    if (event.type === "keydown") menu.querySelector("summary").focus();
  }
  function onTap(event) {
    if (event.detail === 0) return; // a key pressed it: the focus stays where the keyboard is
    setTimeout(() => {
      const now = document.activeElement;
      if (!now || now === document.body || now.matches("button, a, summary, h1")) if (!document.querySelector(".menu[open]")) home(false);
    }, 0);
  }

  addEventListener("keydown", onKey, true);
  addEventListener("keydown", closeMenu);
  addEventListener("click", closeMenu);
  addEventListener("submit", onSubmit);
  addEventListener("click", onTap);
  addEventListener("online", again);
  addEventListener("pageshow", (event) => { if (event.persisted) location.reload(); });
  const held = read(TYPED);
  if (held) {
    write(TYPED, null);
    if (held.path === location.pathname + location.search) {
      const inputs = [...document.querySelectorAll("main input[name]")];
      for (const one of inputs) {
        if (one.type === "text" && held.texts[one.name]) one.value = held.texts[one.name];
        if (one.type === "radio" && held.chosen.some(([name, value]) => name === one.name && value === one.value)) one.checked = true;
      }
    }
  }
  home(false);
  move();
})();

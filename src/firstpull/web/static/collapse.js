// The stages of a virtual pull shown in turn. Without this script before and after stand together.
"use strict";
(() => {
  const box = document.querySelector("[data-stages]");
  if (!box) return;
  const count = Number(box.dataset.stages);
  const frames = Array.from({ length: count }, (_, place) => document.getElementById(`${box.dataset.key}-${place}`));
  const play = box.querySelector("[data-play]");
  let now = 0;
  let timer = 0;
  const show = (place) => {
    now = (place + count) % count;
    frames.forEach((frame, index) => {
      if (index === 0 || index === now) frame.removeAttribute("display");
      else frame.setAttribute("display", "none");
    });
  };
  const stop = () => {
    window.clearInterval(timer);
    timer = 0;
    play.textContent = play.dataset.word;
  };
  const start = () => {
    if (now === count - 1) show(0);
    play.textContent = play.dataset.pause;
    timer = window.setInterval(() => (now === count - 1 ? stop() : show(now + 1)), 220);
  };
  play.addEventListener("click", () => (timer ? stop() : start()));
  box.querySelectorAll("[data-step]").forEach((button) =>
    button.addEventListener("click", () => {
      stop();
      show(Math.min(Math.max(now + Number(button.dataset.step), 0), count - 1));
    }),
  );
  box.querySelector("[data-controls]").hidden = false;
  if (window.matchMedia("(prefers-reduced-motion: reduce)").matches) show(count - 1);
  else start();
})();

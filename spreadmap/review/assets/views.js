"use strict";
/* The map follows the section that is being read: its layers, its extent, its numbers, its walk, its date. */
function spreadmapViews(map, plants, overlay, show, views, home) {
  const sections = [...document.querySelectorAll("section[data-view]")].filter((section) => views[section.dataset.view]);
  const follow = document.querySelector("[data-follow]"), says = document.querySelector(".map-says");
  const numbers = {};
  let current = "start", timer = 0;

  function fit(bounds) {
    if (bounds) map.fitBounds(bounds, { padding: [34, 34], maxZoom: 19.5, animate: false });
    else home();
  }

  function apply(key) {
    const view = views[key];
    if (!view) return;
    current = key;
    map.closePopup();
    show(view.layers);
    if (plants) {
      plants.setBefore(key in views && document.querySelector(`[data-state-of="${key}"]:checked`)?.value === "before");
      overlay.set({ numbers: numbers[view.numbers] || [], route: view.route, marked: view.marked });
    }
    fit(view.bounds);
    tell();
  }

  function tell() {
    if (!says) return;
    says.textContent = views[current].says + (plants && plants.isBefore() ? ` ${spreadmapWords("state", { day: views[current].before_on })}` : "");
  }

  function follows(key) {
    window.clearTimeout(timer);
    timer = window.setTimeout(() => { if (key !== current && (!follow || follow.checked)) apply(key); }, 120);
  }

  /* the section that crosses a line a third down the window; under a map that lies on top, a line further down */
  let observer = null;
  const inside = new Set();
  function watch() {
    if (observer) observer.disconnect();
    inside.clear();
    const line = window.matchMedia("(max-width: 980px)").matches ? 62 : 32;
    observer = new IntersectionObserver((entries) => {
      for (const entry of entries) entry.isIntersecting ? inside.add(entry.target) : inside.delete(entry.target);
      const here = sections.find((section) => inside.has(section));
      if (here) follows(here.dataset.view);
      else if (sections.length && sections[0].getBoundingClientRect().top > (window.innerHeight * line) / 100) follows("start");
    }, { rootMargin: `-${line}% 0px -${99 - line}% 0px` });
    for (const section of sections) observer.observe(section);
    const head = document.querySelector("header");
    if (head) observer.observe(head);
  }
  window.matchMedia("(max-width: 980px)").addEventListener("change", watch);
  watch();

  if (follow) follow.addEventListener("change", () => {
    if (!follow.checked) return;
    const here = sections.find((section) => inside.has(section));
    apply(here ? here.dataset.view : "start");
  });
  for (const choice of document.querySelectorAll("input[data-state-of]")) {
    choice.addEventListener("change", () => {
      if (current !== choice.dataset.stateOf) apply(choice.dataset.stateOf);
      plants.ready.then(() => { plants.setBefore(choice.value === "before"); tell(); });
    });
  }

  tell();
  return {
    current: () => current,
    apply,
    sections,
    view: (key) => views[key],
    numbers: (name) => numbers[name] || [],
    /* order numbers of a list change with its cut-off and its filters */
    number(name, given) {
      numbers[name] = given;
      if (plants && views[current] && views[current].numbers === name) overlay.set({ numbers: given });
    },
  };
}

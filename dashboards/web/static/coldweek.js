// Comfort only: every page is complete without this script.
"use strict";

(() => {
  // A drawing is made for one width. Where its place has another, ask for one
  // that fits, so that letters keep their size.
  async function fit(drawing) {
    const place = [...drawing.children].find((c) => c.clientWidth > 0);
    const svg = place && place.querySelector("svg");
    if (!svg) return;
    const width = Math.max(300, Math.min(1600, Math.floor(drawing.clientWidth)));
    if (Math.abs(svg.viewBox.baseVal.width - width) < 0.06 * width) return;
    const address = new URL(drawing.dataset.drawing, location.href);
    address.searchParams.set("width", width);
    const answer = await fetch(address);
    if (!answer.ok) return;
    const made = new DOMParser().parseFromString(await answer.text(), "image/svg+xml").documentElement;
    svg.replaceWith(document.importNode(made, true));
  }

  // Show another period: put the new page's content in place of the old.
  async function show(address, remember) {
    const answer = await fetch(address);
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const main = page.querySelector("main");
    if (!answer.ok || !main) {
      location.assign(address);
      return;
    }
    const moves = main.querySelector("[data-address]");
    if (remember) history.pushState(null, "", moves ? moves.dataset.address : address);
    document.querySelector("main").replaceWith(document.importNode(main, true));
    document.title = page.title;
    begin();
    follow();
  }

  // Drag across a drawing to look closer at what lies between.
  function dragging(drawing) {
    let from = null;
    let chosen = null;
    const svgAt = (event) => event.target.closest("svg[data-from-ms]");
    const within = (svg, x) => {
      const box = svg.getBoundingClientRect();
      const scale = box.width / svg.viewBox.baseVal.width;
      const left = box.left + svg.dataset.left * scale;
      const right = box.left + svg.dataset.right * scale;
      return { left, right, box, x: Math.max(left, Math.min(right, x)) };
    };
    const stop = () => {
      if (chosen) chosen.remove();
      from = chosen = null;
    };
    drawing.addEventListener("pointerdown", (event) => {
      const svg = svgAt(event);
      if (!svg || event.button !== 0 || event.pointerType === "touch") return;
      from = { svg, x: within(svg, event.clientX).x };
      chosen = document.createElement("div");
      chosen.className = "chosen";
      drawing.append(chosen);
      drawing.setPointerCapture(event.pointerId);
      event.preventDefault();
    });
    drawing.addEventListener("pointermove", (event) => {
      if (!from) return;
      const at = within(from.svg, event.clientX);
      const origin = drawing.getBoundingClientRect();
      chosen.style.left = `${Math.min(from.x, at.x) - origin.left + drawing.scrollLeft}px`;
      chosen.style.width = `${Math.abs(at.x - from.x)}px`;
      chosen.style.top = `${at.box.top - origin.top}px`;
      chosen.style.height = `${at.box.height}px`;
    });
    drawing.addEventListener("pointercancel", stop);
    drawing.addEventListener("pointerup", (event) => {
      if (!from) return;
      const { svg, x } = from;
      const at = within(svg, event.clientX);
      stop();
      if (Math.abs(at.x - x) < 8) return;
      const begin = Number(svg.dataset.fromMs);
      const spanMs = Number(svg.dataset.toMs) - begin;
      const minute = (x) => new Date(Math.round((begin + ((x - at.left) / (at.right - at.left)) * spanMs) / 60000) * 60000).toISOString();
      const address = new URL(location.href);
      address.hash = "";
      address.search = new URLSearchParams({ from: minute(Math.min(x, at.x)), to: minute(Math.max(x, at.x)) });
      show(address.href, true).catch(() => location.assign(address.href));
    });
  }

  function begin() {
    const here = document.querySelector(".sections [aria-current]");
    if (here) {
      const line = here.closest(".sections");
      line.scrollLeft = here.offsetLeft - (line.clientWidth - here.offsetWidth) / 2;
    }
    for (const drawing of document.querySelectorAll("[data-drawing]")) {
      drawing.classList.add("ready");
      dragging(drawing);
      fit(drawing).catch(() => {});
    }
  }

  // Live values. Where they cannot be had (an old browser, too many readers), the
  // page is loaded again now and then, as it is without a script.
  let source = null;
  const words = (place, text) => {
    if (place && place.textContent !== text) place.textContent = text;
  };
  function showState(place, v) {
    const state = place.querySelector(".state");
    if (!state) return;
    state.className = `state ${v.class}`;
    const swatch = document.createElement("span");
    swatch.className = "swatch";
    state.replaceChildren(swatch, v.state);
    let since = place.querySelector(".since");
    if (!since && v.since) {
      since = document.createElement("span");
      since.className = "since";
      state.after(" ", since);
    }
    words(since, v.since);
  }
  const known = (value) => value !== "\u2013";
  function showNow(v) {
    const head = document.querySelector("[data-live]");
    if (head) {
      showState(head.querySelector('[data-live-part="state"]'), v);
      const said = [known(v.flow) && `flow ${v.flow}\u00a0°C`, known(v.outdoors) && `outdoors ${v.outdoors}\u00a0°C`, known(v.power) && `${v.power}\u00a0kW`];
      words(head.querySelector('[data-live-part="readings"]'), said.filter(Boolean).join(", "));
    }
    for (const row of document.querySelectorAll("tr[data-plant]")) {
      if (row.dataset.plant !== v.id || !row.querySelector(".now .state")) continue;
      row.className = v.class;
      showState(row.querySelector(".now"), v);
      for (const [cell, value, unit] of [[".n1", v.flow, "°C"], [".n2", v.outdoors, "°C"], [".n3", v.power, "kW"]]) {
        const place = row.querySelector(cell);
        if (!place) continue;
        const small = document.createElement("span");
        small.className = "unit";
        small.textContent = ` ${unit}`;
        place.replaceChildren(value, ...(known(value) ? [small] : []));
      }
    }
  }
  function follow() {
    if (source) source.close();
    source = null;
    const plants = [...document.querySelectorAll("tr[data-plant]")].map((row) => row.dataset.plant);
    const head = document.querySelector("[data-live]");
    const address = head ? head.dataset.live : plants.length ? `/live?plants=${plants.join(",")}` : "";
    if (!address || document.visibilityState === "hidden") return;
    source = new EventSource(address);
    source.addEventListener("now", (event) => showNow(JSON.parse(event.data)));
    source.addEventListener("error", () => {
      if (source && source.readyState === EventSource.CLOSED) setTimeout(follow, 60000);
    });
  }
  document.addEventListener("visibilitychange", follow);
  addEventListener("pagehide", () => source && source.close());
  addEventListener("pageshow", (event) => event.persisted && follow());

  // Find plants by typing: / goes to the field, and lines that do not fit go as one
  // types. Enter asks the server, which knows the other sheets.
  function finding() {
    const field = document.querySelector("#q");
    if (!field) return;
    field.addEventListener("input", () => {
      const wanted = field.value.toLowerCase().split(/\s+/).filter(Boolean);
      for (const row of document.querySelectorAll("tr[data-plant]")) {
        const name = row.querySelector("th").textContent.toLowerCase();
        row.hidden = !wanted.every((word) => name.includes(word));
      }
    });
  }
  const slash = (event) => event.key === "/" && !event.ctrlKey && !event.metaKey && !event.altKey && !event.target.closest("input, select, textarea");
  addEventListener("keydown", (event) => {
    if (slash(event)) event.preventDefault(); // some browsers search the page with it
  });
  addEventListener("keyup", (event) => {
    if (!slash(event)) return;
    const field = document.querySelector("#q");
    if (field) {
      field.focus();
      field.select();
    } else {
      location.assign("/");
    }
  });

  let waiting = 0;
  addEventListener("resize", () => {
    clearTimeout(waiting);
    waiting = setTimeout(() => document.querySelectorAll("[data-drawing]").forEach((d) => fit(d).catch(() => {})), 200);
  });
  addEventListener("popstate", () => {
    if (document.querySelector("[data-drawing]")) show(location.href, false).catch(() => location.reload());
  });
  begin();
  finding();
  follow();
})();

(() => {
  const faults = [];
  const say = (e, what) => faults.push(what + ": " + e.outerHTML.replace(/\s+/g, " ").slice(0, 140));
  const seen = (e) => { const r = e.getBoundingClientRect(), s = getComputedStyle(e); return r.width > 1 && r.height > 1 && s.visibility !== "hidden" && s.display !== "none"; };
  const name = (e) => (e.getAttribute("aria-label") || (e.labels && [...e.labels].map((l) => l.textContent).join(" ")) || e.textContent || e.title || "").trim();
  for (const e of document.querySelectorAll("a[href],button,input,select,[role=button],[role=slider],[role=img],[role=region],summary,progress,nav,section[aria-label]")) if (!name(e)) say(e, "has no name");
  for (const e of document.querySelectorAll("svg")) if (!e.closest("[aria-hidden=true]") && !e.getAttribute("aria-label") && !e.parentElement.closest("svg")) say(e, "picture without a name");
  for (const e of document.querySelectorAll("[tabindex]")) if (e.tabIndex > 0) say(e, "takes itself out of the order of the page");
  for (const e of document.querySelectorAll("[aria-hidden=true] a,[aria-hidden=true] button,[aria-hidden=true] [tabindex='0']")) say(e, "is hidden and takes the focus");
  const ids = [...document.querySelectorAll("[id]")].map((e) => e.id);
  ids.filter((x, i) => ids.indexOf(x) !== i && x !== "cut").forEach((x) => faults.push("id twice: " + x));
  if (!document.documentElement.lang) faults.push("no language");
  if (!document.title) faults.push("no title");
  if (document.querySelectorAll("main").length !== 1 || document.querySelectorAll("h1").length !== 1) faults.push("not one main and one h1");
  let level = 0;
  for (const h of document.querySelectorAll("h1,h2,h3,h4")) { const l = +h.tagName[1]; if (l > level + 1) say(h, "heading skips a level"); level = l; }
  for (const t of document.querySelectorAll("table")) if (!t.querySelector("th")) say(t, "table without headers");
  for (const e of document.querySelectorAll("[role=row]")) if (!e.closest("[role=table]")) say(e, "row outside a table");
  for (const e of document.querySelectorAll("button,input,select,summary")) if (seen(e)) { const r = e.getBoundingClientRect(); if (r.height < 16 || (e.tagName !== "SUMMARY" && !e.matches(".figure") && e.type !== "checkbox" && r.height < 23.5)) say(e, "target lower than 24 px (" + r.height.toFixed(1) + ")"); }
  // Contrast of text, WCAG 2.2 success criterion 1.4.3.
  const canvas = document.createElement("canvas").getContext("2d", { willReadFrequently: true });
  const rgba = (c) => { canvas.clearRect(0, 0, 1, 1); canvas.fillStyle = c; canvas.fillRect(0, 0, 1, 1); const d = canvas.getImageData(0, 0, 1, 1).data; return [d[0], d[1], d[2], d[3] / 255]; };
  const lum = (c) => { const [r, g, b] = c.map((v) => { v /= 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; }); return 0.2126 * r + 0.7152 * g + 0.0722 * b; };
  const behind = (e) => { const over = []; for (; e; e = e.parentElement) { const c = rgba(getComputedStyle(e).backgroundColor); over.push(c); if (c[3] > 0.99) break; } let out = [255, 255, 255]; for (const c of over.reverse()) out = out.map((v, i) => v * (1 - c[3]) + c[i] * c[3]); return out; };
  const done = new Set();
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const e = walk.currentNode.parentElement;
    if (!walk.currentNode.data.trim() || done.has(e) || !seen(e) || e.closest(":disabled,title,.hidden,.stale,defs,script,style")) continue;
    done.add(e);
    const s = getComputedStyle(e), ink = rgba(e.closest("svg") ? s.fill : s.color).slice(0, 3), bg = behind(e.closest("svg") ? e.closest("svg") : e);
    const a = lum(ink), b = lum(bg), ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05), size = parseFloat(s.fontSize), large = size >= 24 || (size >= 18.66 && +s.fontWeight >= 700);
    if (ratio < (large ? 3 : 4.5)) say(e, "contrast " + ratio.toFixed(2));
  }
  return [...new Set(faults)].slice(0, 25).join("\n");
})()

// What is wrong with what an element shows: what runs out of the window sideways, and what cannot be brought into it, is
// covered there, or has its words cut. Run in the page; [which element, where something may go on sideways].
async ([inside, sideways]) => {
  const faults = [], seen = one => one.checkVisibility({ visibilityProperty: true }) && one.getBoundingClientRect().width > 1;
  const fault = (what, one) => faults.push(`${what}: ${one.outerHTML.slice(0, 90)}`);
  const where = document.querySelector(inside), page = document.documentElement;
  if (page.scrollWidth > innerWidth) fault(`${page.scrollWidth} px wide`, page);
  for (const one of [where, ...where.querySelectorAll("*")]) {
    if (!seen(one) || one.closest(sideways) || one.closest("svg")) continue;
    const box = one.getBoundingClientRect(), scrolls = ["auto", "scroll"].includes(getComputedStyle(one).overflowX);
    if (box.left < -1 || box.right > innerWidth + 1) fault("runs out", one);
    if (scrolls && one.scrollWidth > one.clientWidth + 1) fault("scrolls sideways", one);
  }
  const within = (value, most) => Math.min(most - 1, Math.max(0, value));
  for (const one of where.querySelectorAll("button, a[href], select, input, summary, img[alt]:not([alt=''])")) {
    if (!seen(one) || one.closest(sideways)) continue;
    one.scrollIntoView({ block: "center", inline: "center" });
    await new Promise(requestAnimationFrame);
    const box = one.getBoundingClientRect(), fits = box.height <= innerHeight;
    if (box.left < -1 || box.right > innerWidth + 1) fault("cannot be brought into view", one);
    else if (fits && (box.top < -1 || box.bottom > innerHeight + 1)) fault("cannot be brought into view", one);
    const over = document.elementFromPoint(
      within(box.left + box.width / 2, innerWidth), within(box.top + box.height / 2, innerHeight));
    if (one.tagName !== "IMG" && over && !one.contains(over) && !over.contains(one)) fault(`covered by ${over.outerHTML.slice(0, 60)}`, one);
    if (one.tagName === "BUTTON" && one.scrollWidth > one.clientWidth + 1) fault("its words are cut", one);
  }
  return faults;
}

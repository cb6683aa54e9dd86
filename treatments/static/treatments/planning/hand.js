// @ts-check
/** Arranging the board by hand: by mouse (drag), finger (touch a sitting, then drag it or touch where it goes) and keys.
 * The server says what a place would clash with; nothing is changed before it is put down. */

const SVG = "http://www.w3.org/2000/svg";
const MOVED = 6; // pixels from which a press is a drag
const ASK_AFTER = 120; // milliseconds that a place must hold before the server is asked about it
const QUARTER = 15;
const SAID = 4; // lines that the panel shows, so that it leaves the board in sight

/** @typedef {{ row: number, day: number, minute: number }} Spot a person's row, a day of the week shown, minutes since midnight */
/** @typedef {{ refused?: string, where?: string[], along?: string[], clashes?: string[] }} Answer */

const board = /** @type {SVGSVGElement | null} */ (document.querySelector("svg.board[data-hand]"));
const panel = document.getElementById("hand");
if (board && panel) begin(board, panel);

/** @param {SVGSVGElement} svg  @param {HTMLElement} hand */
function begin(svg, hand) {
  const { first, last, names, top, row, days, people } = /** @type {Record<string, string>} */ (svg.dataset);
  const scale = {
    first: Number(first) * 60, last: Number(last) * 60, names: Number(names), top: Number(top), row: Number(row),
    days: days.split(","), people: people.split(","),
  };
  const dayWidth = (svg.viewBox.baseVal.width - scale.names) / scale.days.length;
  const form = /** @type {HTMLFormElement} */ (document.getElementById("hand-form"));
  const put = /** @type {HTMLButtonElement} */ (document.getElementById("hand-put"));
  const swap = /** @type {HTMLButtonElement} */ (document.getElementById("hand-swap"));
  const page = /** @type {HTMLAnchorElement} */ (document.getElementById("hand-page"));

  /** @type {SVGAElement | null} */ let taken = null;
  /** @type {SVGAElement | null} */ let partner = null;
  /** @type {Spot | null} */ let spot = null;
  /** @type {SVGRectElement | null} */ let ghost = null;
  /** @type {{ id: number, x: number, y: number, grip: number, moving: boolean } | null} */ let press = null;
  /** @type {AbortController | null} */ let asking = null;
  let swapping = false;
  let dragged = false;

  /** @param {string} id  @param {string} words */
  const say = (id, words) => {
    const place = document.getElementById(id);
    if (place && place.textContent !== words) place.textContent = words;
  };

  /** @param {string} name  @param {string} value */
  const fill = (name, value) => {
    const field = /** @type {HTMLInputElement} */ (form.elements.namedItem(name));
    field.value = value;
    field.disabled = value === "";
  };

  /** @param {string[]} lines */
  const list = (lines) => {
    const place = document.getElementById("hand-clashes");
    place?.replaceChildren(...lines.map((line) => Object.assign(document.createElement("li"), { textContent: line })));
  };

  /** @param {SVGAElement} bar */
  const rectOf = (bar) => /** @type {SVGRectElement} */ (bar.querySelector(".bar"));

  /** @param {SVGAElement} bar  @returns {Spot} */
  const spotOf = (bar) => {
    const box = rectOf(bar);
    return spotAt(box.x.baseVal.value + 0.5, box.y.baseVal.value + 1);
  };

  /** @param {number} x  @param {number} y  in the drawing's units @returns {Spot} */
  const spotAt = (x, y) => {
    const across = Math.min(Math.max((x - scale.names) / dayWidth, 0), scale.days.length - 0.001);
    const day = Math.floor(across);
    const minute = scale.first + (across - day) * (scale.last - scale.first);
    const person = Math.floor((y - scale.top) / scale.row);
    return {
      day,
      row: Math.min(Math.max(person, 0), scale.people.length - 1),
      minute: Math.round(minute / QUARTER) * QUARTER,
    };
  };

  /** @param {PointerEvent | MouseEvent} event */
  const inDrawing = (event) => {
    const at = new DOMPoint(event.clientX, event.clientY);
    return at.matrixTransform(svg.getScreenCTM()?.inverse());
  };

  /** @param {SVGAElement} bar */
  const take = (bar) => {
    letGo();
    taken = bar;
    bar.classList.add("taken");
    hand.hidden = false;
    say("hand-what", bar.getAttribute("aria-label") ?? "");
    say("hand-says", "Drag it, touch where it is to go, or use the arrow keys.");
    page.href = bar.dataset.page ?? "";
    fill("was", bar.dataset.was ?? "");
  };

  const letGo = () => {
    asking?.abort();
    taken?.classList.remove("taken");
    partner?.classList.remove("partner");
    ghost?.remove();
    [taken, partner, spot, ghost] = [null, null, null, null];
    swapping = false;
    swap.setAttribute("aria-pressed", "false");
    put.hidden = hand.hidden = true;
    list([]);
  };

  /** @param {Spot} to */
  const show = (to) => {
    if (!taken || (spot && spot.row === to.row && spot.day === to.day && spot.minute === to.minute)) return;
    spot = to;
    ghost ??= svg.appendChild(document.createElementNS(SVG, "rect"));
    const minutes = Number(taken.dataset.quarters) * QUARTER;
    const width = (minutes / (scale.last - scale.first)) * dayWidth;
    const share = (to.minute - scale.first) / (scale.last - scale.first);
    const box = rectOf(taken);
    ghost.setAttribute("class", "ghost");
    ghost.setAttribute("x", String(scale.names + (to.day + share) * dayWidth + 1));
    ghost.setAttribute("y", String(scale.top + to.row * scale.row + 6));
    ghost.setAttribute("width", String(Math.max(width - 2, 3)));
    ghost.setAttribute("height", String(box.height.baseVal.value));
    fill("staff", scale.people[to.row]);
    fill("day", scale.days[to.day]);
    fill("time", clock(to.minute));
    fill("other", "");
    ask(new URLSearchParams({ staff: scale.people[to.row], day: scale.days[to.day], time: clock(to.minute) }));
  };

  /** @param {SVGAElement} other */
  const pair = (other) => {
    partner?.classList.remove("partner");
    partner = other;
    other.classList.add("partner");
    for (const name of ["staff", "day", "time"]) fill(name, "");
    fill("other", other.dataset.key ?? "");
    ask(new URLSearchParams({ other: other.dataset.key ?? "" }));
  };

  /** @param {URLSearchParams} wanted */
  const ask = async (wanted) => {
    asking?.abort();
    asking = new AbortController();
    const { signal } = asking;
    put.hidden = true;
    try {
      await new Promise((done) => setTimeout(done, ASK_AFTER));
      if (signal.aborted || !taken) return;
      const answer = await fetch(`${taken.dataset.page}try/?${wanted}`, { signal, headers: { Accept: "application/json" } });
      if (!answer.ok) throw new Error(String(answer.status));
      tell(await answer.json());
    } catch (problem) {
      if (!signal.aborted) say("hand-says", `The server does not say whether this fits. Nothing was moved; try again. (${problem})`);
    }
  };

  /** @param {Answer} answer */
  const tell = (answer) => {
    const clashes = answer.clashes ?? [];
    ghost?.classList.toggle("bad", clashes.length > 0 || Boolean(answer.refused));
    const lines = [...clashes, ...(answer.along ?? []).map((line) => `Moves along: ${line}`)];
    list(lines.length > SAID ? [...lines.slice(0, SAID), `And ${lines.length - SAID} more.`] : lines);
    if (answer.refused || !answer.where?.length) {
      say("hand-says", answer.refused ?? "It lies there already.");
      return;
    }
    const places = partner ? answer.where.join("; ") : answer.where[0];
    say("hand-says", `${places}. ${clashes.length ? "This would clash:" : "It fits."}`);
    fill("sure", clashes.length ? "on" : "");
    put.textContent = clashes.length ? "Put it there all the same" : partner ? "Swap the two" : "Put it here";
    put.hidden = false;
    if (dragged && !press && !clashes.length && !(answer.along ?? []).length) form.requestSubmit(put);
  };

  form.addEventListener("submit", () => {
    form.action = `${taken?.dataset.page}${partner ? "swap/" : ""}`;
  });
  document.getElementById("hand-leave")?.addEventListener("click", () => {
    const was = taken;
    letGo();
    was?.focus();
  });
  swap.addEventListener("click", () => {
    swapping = !swapping;
    swap.setAttribute("aria-pressed", String(swapping));
    if (swapping) say("hand-says", "Now touch the sitting that it changes places with, or go to it and press Enter.");
  });

  svg.addEventListener("pointerdown", (event) => {
    const bar = barAt(event);
    dragged = false;
    // A finger that is not on the sitting it took up before scrolls the board, as everywhere.
    if (!bar || event.button !== 0 || swapping || (event.pointerType !== "mouse" && bar !== taken)) return;
    press = { id: event.pointerId, x: event.clientX, y: event.clientY, moving: false,
      grip: inDrawing(event).x - rectOf(bar).x.baseVal.value };
    if (bar !== taken) take(bar);
    hand.hidden = true; // it would come between the finger and the board
  });
  // On the document, since the panel may lie between a pointer and the board.
  document.addEventListener("pointermove", (event) => {
    if (!press || press.id !== event.pointerId) return;
    if (!press.moving) {
      if (Math.hypot(event.clientX - press.x, event.clientY - press.y) < MOVED) return;
      press.moving = true;
    }
    const at = inDrawing(event);
    show(spotAt(at.x - press.grip, at.y));
  });
  document.addEventListener("pointerup", (event) => {
    if (!press || press.id !== event.pointerId) return;
    dragged = press.moving;
    press = null;
    hand.hidden = false;
    // What was asked while dragging is asked once more, so that the answer comes after the finger is off.
    if (dragged && spot) {
      const here = spot;
      spot = null;
      show(here);
    }
  });
  document.addEventListener("pointercancel", () => {
    if (press) letGo();
    press = null;
  });
  svg.addEventListener("dragstart", (event) => event.preventDefault());

  svg.addEventListener("click", (event) => {
    const bar = barAt(event);
    if (dragged) {
      event.preventDefault();
    } else if (swapping && bar && taken && bar !== taken) {
      event.preventDefault();
      pair(bar);
    } else if (bar) {
      event.preventDefault();
      if (bar !== taken) take(bar);
    } else if (taken && !swapping) {
      const at = inDrawing(event);
      show(spotAt(at.x, at.y));
    }
  });

  /** @type {Record<string, (from: Spot, far: boolean) => Spot>} */
  const keys = {
    ArrowLeft: (from, far) => (far ? { ...from, day: Math.max(from.day - 1, 0) } : { ...from, minute: Math.max(from.minute - QUARTER, scale.first) }),
    ArrowRight: (from, far) =>
      far ? { ...from, day: Math.min(from.day + 1, scale.days.length - 1) } : { ...from, minute: Math.min(from.minute + QUARTER, scale.last - QUARTER) },
    ArrowUp: (from) => ({ ...from, row: Math.max(from.row - 1, 0) }),
    ArrowDown: (from) => ({ ...from, row: Math.min(from.row + 1, scale.people.length - 1) }),
  };
  svg.addEventListener("keydown", (event) => {
    const bar = barAt(event);
    const step = keys[event.key];
    if (event.key === "Escape" && taken) {
      letGo();
    } else if (event.key === "Enter" && bar && bar === taken && !put.hidden) {
      form.requestSubmit(put);
    } else if (step && bar && bar === taken && !swapping) {
      show(step(spot ?? spotOf(bar), event.shiftKey));
    } else {
      return; // Enter on a bar is a click: it takes it up, or pairs it
    }
    event.preventDefault();
  });
}

/** @param {Event} event  @returns {SVGAElement | null} the sitting that may be moved under a finger or the focus */
function barAt(event) {
  const at = /** @type {Element} */ (event.target);
  return /** @type {SVGAElement | null} */ (at.closest("a[data-key]"));
}

/** @param {number} minute */
function clock(minute) {
  return `${String(Math.floor(minute / 60)).padStart(2, "0")}:${String(minute % 60).padStart(2, "0")}`;
}

// @ts-check
/** What shapes on a photograph measure, as the server reckons it (media/markup/geometry.py). No page here. */

/** @typedef {[number, number]} Point pixels of the upright original */
/** @typedef {{id: string, shape: "line" | "area" | "point", points: Point[], term: string, target: string | null, note: string}} Mark */
/** @typedef {{from: Point, to: Point, mm: number}} Scale */
/** @typedef {{width: number, height: number, scale: Scale | null, marks: Mark[]}} Drawing */

export const MOST_POINTS = 500;
export const LEAST = { line: 2, area: 3, point: 1 };

/** @param {Point} a @param {Point} b */
export const distance = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1]);

/** @param {Point[]} points */
export const length = (points) => points.slice(1).reduce((sum, point, i) => sum + distance(points[i], point), 0);

/** Within a simple outline, by the shoelace formula. @param {Point[]} points */
export function area(points) {
  const [[x0, y0]] = points;
  let twice = 0;
  points.forEach(([x, y], i) => {
    const [u, v] = points[(i + 1) % points.length];
    twice += (x - x0) * (v - y0) - (u - x0) * (y - y0);
  });
  return Math.abs(twice) / 2;
}

/** @param {Point} a @param {Point} b @param {Point} c */
const turn = (a, b, c) => (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);

/** Whether a closed outline meets itself other than where neighbours join. @param {Point[]} points */
export function crossesItself(points) {
  const n = points.length;
  for (let i = 0; i < n; i += 1) {
    for (let j = i + 2; j < n; j += 1) {
      if (i === 0 && j === n - 1) continue;
      const [a, b, c, d] = [points[i], points[(i + 1) % n], points[j], points[(j + 1) % n]];
      const near = [0, 1].every((k) => Math.min(a[k], b[k]) <= Math.max(c[k], d[k]) && Math.min(c[k], d[k]) <= Math.max(a[k], b[k]));
      if (near && turn(a, b, c) * turn(a, b, d) <= 0 && turn(c, d, a) * turn(c, d, b) <= 0) return true;
    }
  }
  return false;
}

/**
 * A line with fewer points, nowhere further from the first than `most`. Source: Douglas and Peucker 1973.
 * @param {Point[]} points @param {number} most @returns {Point[]}
 */
export function simplified(points, most) {
  if (points.length < 3) return points;
  const [first, last] = [points[0], points[points.length - 1]];
  const long = distance(first, last);
  let [worst, at] = [0, 0];
  for (let i = 1; i < points.length - 1; i += 1) {
    const off = long ? Math.abs(turn(first, last, points[i])) / long : distance(first, points[i]);
    if (off > worst) [worst, at] = [off, i];
  }
  if (worst <= most) return [first, last];
  return [...simplified(points.slice(0, at + 1), most).slice(0, -1), ...simplified(points.slice(at), most)];
}

/** A stroke of a finger as the points worth keeping. @param {Point[]} points @param {number} pixel of the screen, in pixels of the original */
export function kept(points, pixel) {
  let most = pixel;
  let found = simplified(points, most);
  while (found.length > MOST_POINTS) found = simplified(points, (most *= 2));
  return found;
}

/** Why a shape cannot be kept, in words; none if it can. @param {Mark["shape"]} shape @param {Point[]} points */
export function fault(shape, points) {
  if (points.length < LEAST[shape]) return shape === "area" ? "An area needs three points at least." : "A line needs two points at least.";
  if (points.length > MOST_POINTS) return `A shape has at most ${MOST_POINTS} points.`;
  if (shape === "line" && length(points) <= 0) return "This line has no length.";
  if (shape === "area" && (area(points) <= 0 || crossesItself(points))) return "This outline crosses itself: draw it again.";
  return "";
}

/**
 * What the marks of one thing come to: mm of its lines or cm² of its areas; none where there is none or no size is known.
 * @param {Drawing} drawing @param {string} term @param {string} target @returns {number | null}
 */
export function measure(drawing, term, target) {
  const mine = drawing.marks.filter((mark) => mark.term === term && mark.target === target);
  if (!drawing.scale || !mine.length) return null;
  const unit = drawing.scale.mm / distance(drawing.scale.from, drawing.scale.to);
  const lines = mine.filter((mark) => mark.shape === "line");
  const total = lines.length
    ? lines.reduce((sum, mark) => sum + length(mark.points), 0) * unit
    : (mine.filter((mark) => mark.shape === "area").reduce((sum, mark) => sum + area(mark.points), 0) * unit ** 2) / 100;
  return Math.round(total * 10) / 10 || null;
}

// Where the probe goes in, drawn for the bale's shape: a round bale from its curved side, a square one from its end.
const NS = "http://www.w3.org/2000/svg";

function part(name, about) {
  const made = document.createElementNS(NS, name);
  for (const [key, value] of Object.entries({ fill: "none", stroke: "currentColor", "stroke-width": 3, "stroke-linejoin": "round", ...about })) made.setAttribute(key, value);
  return made;
}

// The probe with its arrow, from the right at (x, y), into the bale as far as `to`.
const probe = (y, from, to) => [
  part("path", { d: `M${from} ${y}H${to}`, "stroke-width": 6 }),
  part("path", { d: `M${to + 12} ${y - 8}L${to} ${y}l12 8` }),
  part("path", { d: `M${from} ${y - 12}v24`, "stroke-width": 6 }),
];

const SHAPES = {
  // Standing on its curved side, seen from that side: the flat faces left and right, the probe from the front.
  round: () => [
    part("ellipse", { cx: 34, cy: 50, rx: 16, ry: 36 }),
    part("path", { d: "M34 14H84c9 0 16 16 16 36s-7 36-16 36H34" }),
    part("ellipse", { cx: 34, cy: 50, rx: 8, ry: 18 }),
    part("path", { d: "M66 106V58", "stroke-width": 6 }),
    part("path", { d: "M58 70L66 58l8 12" }),
    part("path", { d: "M54 106h24", "stroke-width": 6 }),
  ],
  square: (strings) => [
    part("path", { d: "M6 40L26 22H96L76 40Z" }),
    part("path", { d: "M6 40H76V90H6Z" }),
    part("path", { d: "M76 40L96 22V72L76 90Z" }),
    ...strings.map((x) => part("path", { d: `M${x} 90V40l20-18`, "stroke-width": 1.5 })),
    ...probe(56, 130, 88),
  ],
};

export function balePicture(shape, entry) {
  const svg = document.createElementNS(NS, "svg");
  const words = shape === "round" ? "Round bale: probe into the curved side" : `${shape[0].toUpperCase()}${shape.slice(1)} bale: probe into the end, between the strings`;
  svg.setAttribute("viewBox", "0 0 134 110");
  svg.setAttribute("role", "img");
  svg.setAttribute("aria-label", entry === (shape === "round" ? "side" : "end") ? words : `Core from the ${entry}`);
  svg.append(...(shape === "round" ? SHAPES.round() : SHAPES.square(shape === "large square" ? [16, 28, 40, 52, 64] : [28, 54])));
  return svg;
}

// What can be clicked, in which order, and where each point stands. Pure: no page is touched here.

const number = (text) => {
  const trimmed = String(text).trim().replace(",", ".").replace(/^[−–]/, "-");
  return /^[-+]?(\d+(\.\d*)?|\.\d+)$/.test(trimmed) ? Number(trimmed) : NaN;
};
// what was typed in yards or feet, in metres (international yard and foot, 1959): said, never taken
const inMetres = (text) => {
  const found = /^([-+−]?\d+(?:[.,]\d+)?)\s*(yards?|yds?|y|feet|foot|ft|')\.?$/i.exec(String(text).trim());
  return found ? number(found[1]) * (found[2].toLowerCase().startsWith("y") ? 0.9144 : 0.3048) : NaN;
};
const asMetres = (text) => (Number.isFinite(inMetres(text)) ? `, which is ${metres(inMetres(text))} m` : "");
const metres = (value) => `${Number(value.toFixed(3))}`.replace("-", "−");

const MOST_M = 100, HIGHEST_M = 20;
const ALONG = "metres to the take-off line, negative before it";
const ASIDE = "metres aside of the middle line, positive to the athlete's right";

// Each field: key, label, what it begins with, what is to be typed. `confirm` is asked before facts are used that were
// not measured here.
export function kinds(facts) {
  const width = { key: "width", label: "Runway width", unit: "m", begin: facts.runway_width_m };
  const measured = `Checked on this runway. The rules say ${facts.runway_width_m} m ±0.01 between the inner edges of the lines; lines are 5 cm wide.`;
  return [
    {
      key: "pole",
      label: "Pole",
      why: "A straight pole that stands upright. Click its points from the ground up.",
      fields: [
        { key: "x", label: "x", unit: "m", begin: "", hint: ALONG },
        { key: "heights", label: "heights", unit: "m", begin: "0, 1, 2", text: true },
        { key: "z", label: "z", unit: "m", begin: "0", hint: ASIDE },
      ],
      again: "x",
    },
    {
      key: "board",
      label: "Board",
      why: "The four corners of the take-off board: around it, beginning near the camera on the run-up side.",
      fields: [
        { key: "length", label: "along the run", unit: "m", begin: facts.board_length_m },
        { key: "across", label: "across", unit: "m", begin: facts.board_width_m },
      ],
      confirm: `Checked on this board. The rules say ${facts.board_length_m.toFixed(2)} m by ${facts.board_width_m.toFixed(2)} m.`,
    },
    {
      key: "edge",
      label: "Runway edges",
      why: "The inner edges of both lines at one distance to the board: first the near one, then the far one.",
      fields: [{ key: "x", label: "x", unit: "m", begin: "", hint: ALONG }, width],
      confirm: measured,
      again: "x",
    },
    {
      key: "cone",
      label: "Cone",
      why: "The middle of its foot on the ground.",
      fields: [
        { key: "x", label: "x", unit: "m", begin: "", hint: ALONG },
        { key: "z", label: "z", unit: "m", begin: "", hint: ASIDE },
        { key: "step", label: "next one after", unit: "m", begin: "1" },
      ],
      advance: "x",
    },
    {
      key: "point",
      label: "Any point",
      why: "Anything whose place you have measured.",
      fields: [
        { key: "name", label: "name", unit: "", begin: "", text: true },
        { key: "x", label: "x", unit: "m", begin: "", hint: ALONG },
        { key: "y", label: "y", unit: "m", begin: "0", hint: "metres up from the runway" },
        { key: "z", label: "z", unit: "m", begin: "0", hint: ASIDE },
      ],
      again: "name",
    },
  ];
}

// Returns the points of one round, or what is missing for it and in which field. `way` is 1 when the run goes to the right in the picture:
// the camera then stands on the athlete's right, where z is positive.
export function points(kind, values, way) {
  const value = {};
  for (const field of kind.fields) {
    if (field.text) continue;
    value[field.key] = number(values[field.key]);
    const missing = fault(field, String(values[field.key]).trim(), value[field.key]);
    if (missing) return { missing, field: field.key };
  }
  if (kind.key === "pole") {
    const heights = heightsOf(values.heights);
    if ("missing" in heights) return { ...heights, field: "heights" };
    value.heights = heights;
  }
  if (kind.confirm && !values.confirmed) return { missing: "Confirm that this was checked here: the box under the numbers.", field: "confirm" };
  return { points: ROUNDS[kind.key](value, values, way) };
}

function fault(field, typed, value) {
  if (typed === "") return `Type ${field.label} first${field.hint ? `: ${field.hint}` : ""}.`;
  if (!Number.isFinite(value)) return `${field.label}: '${typed}' is no number${asMetres(typed)}. Type metres, like 6.50 or -6.50.`;
  if (Math.abs(value) > MOST_M) return `${field.label}: ${metres(value)} m is too far; type metres, at most ${MOST_M}.`;
  return "";
}

// "0, 1, 2", "0 1 2", "0; 0,5; 1" and "0,1,2": one comma inside a word is a decimal comma, several part it.
function heightsOf(text) {
  const words = String(text).split(/[;\s]+|,(?=\s)/).flatMap((word) => (word.split(",").length > 2 ? word.split(",") : [word])).filter(Boolean);
  if (!words.length) return { missing: "Type the heights that you click, like 0, 1, 2 (metres)." };
  const heights = words.map(number);
  const bad = words.findIndex((_word, i) => !(heights[i] >= -1 && heights[i] <= HIGHEST_M));
  if (bad >= 0) {
    const why = Number.isFinite(heights[bad]) ? `${words[bad]} m is not between -1 and ${HIGHEST_M}` : `'${words[bad]}' is no number`;
    return { missing: `heights: ${why}. Type metres, like 0, 1, 2.` };
  }
  const twice = heights.find((height, i) => heights.indexOf(height) < i);
  if (twice !== undefined) return { missing: `heights: ${metres(twice)} m stands twice. Type each height once.` };
  return heights;
}

const ROUNDS = {
  pole(value) {
    return value.heights.map((h) => ({ name: `pole at ${metres(value.x)} m, ${metres(h)} m high`, runway: [value.x, h, value.z] }));
  },
  board(value, _values, way) {
    const near = (way * value.across) / 2;
    return [
      { name: "board, run-up side, near", runway: [-value.length, 0, near] },
      { name: "board, pit side, near", runway: [0, 0, near] },
      { name: "board, pit side, far", runway: [0, 0, -near] },
      { name: "board, run-up side, far", runway: [-value.length, 0, -near] },
    ];
  },
  edge(value, _values, way) {
    const near = (way * value.width) / 2;
    return [
      { name: `near edge at ${metres(value.x)} m`, runway: [value.x, 0, near] },
      { name: `far edge at ${metres(value.x)} m`, runway: [value.x, 0, -near] },
    ];
  },
  cone(value) {
    return [{ name: `cone at ${metres(value.x)} m, ${metres(value.z)} m aside`, runway: [value.x, 0, value.z] }];
  },
  point(value, values) {
    const place = [value.x, value.y, value.z];
    return [{ name: String(values.name).trim().slice(0, 70) || `point at ${place.map(metres).join(", ")}`, runway: place }];
  },
};

export function unique(name, marks) {
  const taken = new Set(marks.map((mark) => mark.name));
  if (!taken.has(name)) return name;
  let count = 2;
  while (taken.has(`${name} (${count})`)) count += 1;
  return `${name} (${count})`;
}

export { asMetres, number };

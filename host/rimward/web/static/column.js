// The upright column: a scale in bar and psi, the hose pressure, and the three limits with their names. Shapes and words, not colour alone.

const NS = 'http://www.w3.org/2000/svg';
const TOP = 30;
const BOTTOM = 490;
const LEFT = 128;
const WIDTH = 76;
const PSI_A_BAR = 14.503773773020923;
let built = null;

function make(name, attributes, parent, text) {
  const node = document.createElementNS(NS, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  if (text !== undefined) node.textContent = text;
  parent.append(node);
  return node;
}

function build(svg, most) {
  svg.replaceChildren();
  const defs = make('defs', {}, svg);
  const pattern = make('pattern', { id: 'hatch', width: 9, height: 9, patternUnits: 'userSpaceOnUse', patternTransform: 'rotate(45)' }, defs);
  make('rect', { width: 9, height: 9, class: 'c-fill' }, pattern);
  make('line', { x1: 0, y1: 0, x2: 0, y2: 9, class: 'c-hatch' }, pattern);
  const y = (bar) => BOTTOM - (Math.max(0, Math.min(bar, most)) / most) * (BOTTOM - TOP);
  for (let bar = 0; bar <= most; bar += 1) {
    make('line', { x1: LEFT - 14, x2: LEFT, y1: y(bar), y2: y(bar), class: 'c-tick' }, svg);
    make('text', { x: LEFT - 24, y: y(bar) + 6, class: 'c-num', 'text-anchor': 'end' }, svg, String(bar));
  }
  for (let psi = 0; psi / PSI_A_BAR <= most; psi += 20) {
    const at = y(psi / PSI_A_BAR);
    make('line', { x1: LEFT + WIDTH, x2: LEFT + WIDTH + 10, y1: at, y2: at, class: 'c-tick' }, svg);
    make('text', { x: LEFT + WIDTH + 16, y: at + 6, class: 'c-num c-psi' }, svg, String(psi));
  }
  make('text', { x: LEFT - 20, y: 18, class: 'c-unit', 'text-anchor': 'end' }, svg, 'bar');
  make('text', { x: LEFT + WIDTH + 16, y: 18, class: 'c-unit' }, svg, 'psi');
  const level = make('rect', { x: LEFT, width: WIDTH, y: BOTTOM, height: 0, fill: 'url(#hatch)' }, svg);
  make('rect', { x: LEFT, y: TOP, width: WIDTH, height: BOTTOM - TOP, class: 'c-tube' }, svg);
  const marks = {};
  for (const [name, word] of [['ceiling', 'CEILING'], ['stop', 'stops'], ['target', 'TARGET']]) {
    const group = make('g', { class: `c-${name}`, visibility: 'hidden' }, svg);
    const right = name !== 'target';
    make('line', { x1: right ? LEFT - 4 : LEFT - 2, x2: right ? LEFT + WIDTH + 52 : LEFT + WIDTH + 4, y1: 0, y2: 0 }, group);
    if (name === 'ceiling') make('line', { x1: LEFT - 4, x2: LEFT + WIDTH + 52, y1: -5, y2: -5 }, group);
    if (name === 'target') make('path', { d: `M${LEFT - 2} 0l-18 -10v20z` }, group);
    make('text', right ? { x: 326, y: name === 'ceiling' ? -11 : 20, 'text-anchor': 'end' } : { x: 0, y: 6 }, group, word);
    marks[name] = group;
  }
  return { most, y, level, marks };
}

export function drawColumn(svg, row, status, over) {
  const ceiling = status ? status.ceiling_pa / 1e5 : 0;
  const most = Math.max(3, Math.ceil((ceiling || 4) * 1.15));
  if (!built || built.most !== most) built = build(svg, most);
  const top = built.y(row ? row[1] / 1e5 : 0);
  built.level.setAttribute('y', top);
  built.level.setAttribute('height', BOTTOM - top);
  svg.classList.toggle('c-over', over);
  for (const name of ['ceiling', 'stop', 'target']) {
    const pa = status ? status[`${name}_pa`] : 0;
    built.marks[name].setAttribute('visibility', pa ? 'visible' : 'hidden');
    if (pa) built.marks[name].setAttribute('transform', `translate(0 ${built.y(pa / 1e5)})`);
  }
}

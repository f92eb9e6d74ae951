// What lies over the game mesh: its maps, clay, the deviation, the checker; edges and the wire as lines.
import { BufferGeometry, BufferAttribute, LineBasicMaterial, LineSegments, MeshBasicMaterial, ShaderMaterial, Vector2 } from 'three'
import { clay } from './models.js'

// Edges whose two sides' normals are further apart are hard: less is rounding of stored normals.
const hardDeg = 2
// A checker's square in texels: 64 texels at the set's shipped size, so equal squares mean equal density.
const squareTexels = 64

const heat = new MeshBasicMaterial({ vertexColors: true, polygonOffset: true, polygonOffsetFactor: 1, polygonOffsetUnits: 1 })

export class Layers {
  constructor(stage, models) {
    this.stage = stage
    this.models = models
    this.skin = 'textured'
    this.on = new Set()
  }

  // apply shows the chosen skin and lines on whatever models are on the stage.
  apply() {
    const deviation = this.skin === 'deviation' && this.models.meshes('deviation').length > 0
    const sculpt = this.on.has('sculpt') && this.models.meshes('sculpt').length > 0
    for (const m of this.models.meshes('game')) {
      const changed = this.skin === 'changed' && m.userData.changed && !sculpt
      m.visible = !deviation && !sculpt && !changed
      if (m.userData.changed) m.userData.changed.visible = Boolean(changed)
      m.material = this.material(m)
      this.lines(m, 'wire', this.on.has('wire') && !sculpt, wireOf)
      this.lines(m, 'hard', this.on.has('hard') && !sculpt, hardEdges)
    }
    for (const m of this.models.meshes('deviation')) {
      m.visible = deviation && !sculpt
      m.material = heat
    }
    for (const m of this.models.meshes('sculpt')) m.visible = sculpt
    this.stage.draw()
  }

  material(m) {
    if (this.skin === 'clay') return clay
    if (this.skin === 'checker' && m.geometry.attributes.uv) return checker(m)
    return m.userData.own
  }

  lines(m, name, on, make) {
    let l = m.userData[name]
    if (on && !l) {
      l = m.userData[name] = make(m.geometry)
      l.applyMatrix4(m.matrix)
      m.parent.add(l) // beside the mesh, so that the lines show over the deviation too
    }
    if (l) l.visible = on
  }
}

function lineSet(index, geometry, color) {
  const g = new BufferGeometry()
  g.setAttribute('position', geometry.attributes.position)
  g.setIndex(new BufferAttribute(index, 1))
  const l = new LineSegments(g, new LineBasicMaterial({ color, depthTest: true, transparent: true, opacity: 0.9 }))
  l.renderOrder = 1
  l.raycast = () => {}
  return l
}

// welded gives each vertex the first one at its place.
function welded(geometry) {
  const pos = geometry.attributes.position
  const first = new Map()
  const same = new Uint32Array(pos.count)
  for (let v = 0; v < pos.count; v++) {
    const key = `${pos.getX(v)},${pos.getY(v)},${pos.getZ(v)}`
    if (!first.has(key)) first.set(key, v)
    same[v] = first.get(key)
  }
  return same
}

function eachEdge(geometry, visit) {
  const idx = geometry.index
  const n = idx ? idx.count : geometry.attributes.position.count
  const at = (i) => (idx ? idx.getX(i) : i)
  for (let t = 0; t + 2 < n; t += 3) for (let k = 0; k < 3; k++) visit(at(t + k), at(t + (k + 1) % 3))
}

function wireOf(geometry) {
  const same = welded(geometry)
  const seen = new Set()
  const out = []
  eachEdge(geometry, (a, b) => {
    const lo = Math.min(same[a], same[b]), hi = Math.max(same[a], same[b])
    const key = lo * 4294967296 + hi
    if (lo === hi || seen.has(key)) return
    seen.add(key)
    out.push(lo, hi)
  })
  return lineSet(new Uint32Array(out), geometry, 0x2b3a4a)
}

// hardEdges are those where the normals of the two faces' corners differ at either end.
function hardEdges(geometry) {
  const same = welded(geometry)
  const nrm = geometry.attributes.normal
  const limit = Math.cos(hardDeg * Math.PI / 180)
  const apart = (a, b) => nrm.getX(a) * nrm.getX(b) + nrm.getY(a) * nrm.getY(b) + nrm.getZ(a) * nrm.getZ(b) < limit
  const sides = new Map()
  const out = []
  eachEdge(geometry, (a, b) => {
    const [p, q] = same[a] < same[b] ? [a, b] : [b, a]
    if (same[p] === same[q]) return
    const key = same[p] * 4294967296 + same[q]
    const other = sides.get(key)
    if (!other) { sides.set(key, [p, q]); return }
    if (apart(p, other[0]) || apart(q, other[1])) out.push(same[p], same[q])
  })
  return lineSet(new Uint32Array(out), geometry, 0xc2410c)
}

// checker draws squares of equal texels over the UV: where squares differ in size, density does.
function checker(m) {
  if (m.userData.checker) return m.userData.checker
  const own = [m.userData.own].flat()[0]
  const size = new Vector2(own.userData.width_px || 1024, own.userData.height_px || 1024).divideScalar(squareTexels)
  m.userData.checker = new ShaderMaterial({
    uniforms: { squares: { value: size } },
    vertexShader: `varying vec2 at; varying vec3 n;
      void main() { at = uv; n = normalize(normalMatrix * normal); gl_Position = projectionMatrix * modelViewMatrix * vec4(position, 1.0); }`,
    fragmentShader: `uniform vec2 squares; varying vec2 at; varying vec3 n;
      void main() {
        vec2 s = at * squares, w = fwidth(s);
        vec2 tri = abs(fract(s * 0.5) - 0.5) * 2.0 - 0.5;            // -0.5 to 0.5, one sign a square
        vec2 c = clamp(tri / max(w * 0.5, 1e-4), -1.0, 1.0);         // softened by a pixel
        float k = 0.5 - 0.5 * c.x * c.y;
        k = mix(k, 0.5, smoothstep(0.4, 1.0, max(w.x, w.y)));        // too fine to be seen: grey, not shimmer
        float light = 0.55 + 0.45 * abs(n.z);
        vec3 col = mix(vec3(0.16, 0.24, 0.33), vec3(0.93, 0.90, 0.84), k) * light;
        gl_FragColor = vec4(col, 1.0);
      }`,
    side: own.side,
  })
  return m.userData.checker
}

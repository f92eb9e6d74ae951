// What lies over the game mesh: its maps, clay, the deviation, the checker; edges and the wire as lines.
import { BufferGeometry, BufferAttribute, LineBasicMaterial, LineSegments, MeshBasicMaterial, ShaderMaterial, Vector2 } from 'three'
import { clay } from './models.js'
import { layer } from './stage.js'
import { hard, wire } from './edges.js'
import { pale } from './light.js'

// Edges whose two sides' normals are further apart are hard: less is rounding of stored normals.
const hardDeg = 2
// A checker's square in texels: 64 texels at the set's shipped size, so equal squares mean equal density.
const squareTexels = 64
// What a surface gives up of its colours under lines.
const paleUnderLines = 0.62

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
    pale.value = (this.on.has('wire') || this.on.has('hard')) && !sculpt ? paleUnderLines : 0
    for (const m of this.models.meshes('game')) {
      const changed = this.skin === 'changed' && m.userData.changed && !sculpt
      see(m, layer.game, !deviation && !sculpt && !changed)
      if (m.userData.changed) m.userData.changed.visible = Boolean(changed)
      m.material = this.material(m)
      this.lines(m, 'wire', this.on.has('wire') && !sculpt, (g) => lineSet(wire(g), g, 0x2b3a4a))
      this.lines(m, 'hard', this.on.has('hard') && !sculpt, (g) => lineSet(hard(g, hardDeg), g, 0xb0006d))
    }
    for (const m of this.models.meshes('deviation')) {
      see(m, layer.deviation, deviation && !sculpt)
      m.material = heat
    }
    for (const m of this.models.meshes('sculpt')) see(m, layer.sculpt, sculpt)
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

// see puts a mesh into the layer of its kind, and into what is seen or out of it.
function see(mesh, kind, seen) {
  mesh.layers.set(kind)
  if (seen) mesh.layers.enable(layer.seen)
}

function lineSet(index, geometry, color) {
  const g = new BufferGeometry()
  g.setAttribute('position', geometry.attributes.position)
  g.setIndex(new BufferAttribute(index, 1))
  const l = new LineSegments(g, new LineBasicMaterial({ color, depthTest: true, transparent: true, opacity: 0.9 }))
  l.renderOrder = 1
  return l
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

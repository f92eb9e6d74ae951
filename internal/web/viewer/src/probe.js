// The probe reads position and deviation under the cursor: one pixel of the scene is drawn with the values in place of
// colours, so that it costs the same for a thousand triangles and for a million.
import { WebGLRenderTarget, FloatType, NearestFilter, ShaderMaterial, Vector3, DoubleSide } from 'three'

import { layer } from './stage.js'

// What the model stores where there is no sculpt to compare with.
const noHeight = 1e8

const values = new ShaderMaterial({
  side: DoubleSide,
  vertexShader: `attribute float _height_mm; varying vec3 p; varying float h;
    void main() { vec4 w = modelMatrix * vec4(position, 1.0); p = w.xyz; h = _height_mm; gl_Position = projectionMatrix * viewMatrix * w; }`,
  fragmentShader: 'varying vec3 p; varying float h; void main() { gl_FragColor = vec4(p, h); }',
})

export class Probe {
  constructor(stage, models) {
    this.stage = stage
    this.models = models
    this.target = new WebGLRenderTarget(1, 1, { type: FloatType, minFilter: NearestFilter, magFilter: NearestFilter })
    this.out = new Float32Array(4)
    this.works = stage.renderer.extensions.has('EXT_color_buffer_float')
  }

  // at gives { point, heightMM } under a place of the canvas in CSS pixels, or null where there is no surface. heightMM is
  // null where no deviation is known.
  at(x, y) {
    if (!this.works) return null
    const { renderer, camera, scene, canvas } = this.stage
    const measured = Boolean(this.models.now.deviation)
    if (!measured && !this.models.now.game) return null
    const kept = scene.background
    scene.background = null
    scene.overrideMaterial = values
    camera.layers.set(measured ? layer.deviation : layer.game)
    camera.setViewOffset(canvas.clientWidth, canvas.clientHeight, x, y, 1, 1)
    renderer.setRenderTarget(this.target)
    renderer.setClearColor(0, 0)
    renderer.clear()
    // A w of nought would read as a deviation: nothing drawn is told by the depth-tested position alone.
    renderer.render(scene, camera)
    const { out } = this
    renderer.readRenderTargetPixels(this.target, 0, 0, 1, 1, out)
    renderer.setRenderTarget(null)
    camera.clearViewOffset()
    camera.layers.set(layer.seen)
    scene.overrideMaterial = null
    scene.background = kept
    if (out.every((v) => v === 0)) return null
    return { point: new Vector3(out[0], out[1], out[2]), heightMM: measured && Math.abs(out[3]) < noHeight ? out[3] : null }
  }
}

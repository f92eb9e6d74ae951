// What metal mirrors, as the stills have it: a sky that is pale above and warm grey below. It is worked out from the direction
// alone; a picture of the surroundings would take a slow graphics card seconds to prepare on each page.
import { HemisphereLight } from 'three'

export const sky = () => new HemisphereLight(0xffffff, 0x8a8580, 1.6)

// The sky's radiance, in the light's linear colours: that of the hemisphere light above, 1.6 / π.
const mirrored = `#include <lights_fragment_maps>
#ifdef RE_IndirectSpecular
  vec3 skyward = inverseTransformDirection(reflect(-geometryViewDir, geometryNormal), viewMatrix);
  radiance += mix(vec3(0.13, 0.12, 0.11), vec3(0.51), 0.5 + 0.5 * skyward.y);
#endif`

// How much of its own colours a surface gives up so that lines over it are seen whatever it shows: one number for all of them.
export const pale = { value: 0 }
const paled = `#include <colorspace_fragment>
  gl_FragColor.rgb = mix(gl_FragColor.rgb, vec3(0.92, 0.91, 0.88), pale);`

function mirror(shader) {
  shader.uniforms.pale = pale
  shader.fragmentShader = 'uniform float pale;\n' + shader.fragmentShader.replace('#include <lights_fragment_maps>', mirrored).replace('#include <colorspace_fragment>', paled)
}

// mirroring lets a standard material mirror the sky.
export function mirroring(material) {
  material.onBeforeCompile = mirror
  return material
}

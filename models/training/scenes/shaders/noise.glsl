// Noise from a small repeating 3D texture: value in a (0..1), its gradient in rgb.
uniform sampler3D noise_volume;

vec4 noise(vec3 p) {
    vec4 t = textureLod(noise_volume, p / 32.0, 0.0);
    return vec4((t.rgb - 0.5) * 4.0, t.a);
}

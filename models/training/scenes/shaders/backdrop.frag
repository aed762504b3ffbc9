uniform sampler2D backdrop; uniform vec3 flat_colour; uniform float photographic;
in vec2 texel; out vec4 colour;
void main() {
    colour = vec4(photographic > 0.5 ? texture(backdrop, texel).rgb : flat_colour, 1.0);
}

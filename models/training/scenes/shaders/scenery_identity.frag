// Scenery is nobody; a cardboard spectator (gloss holds the label) is somebody.
uniform sampler2DArray sprites;
in vec3 at; in vec3 facing; in vec2 texel; in vec4 tint; flat in vec2 surface;
out float label;

void main() {
    label = 0.0;
    if (int(surface.x + 0.5) == SPRITE) {
        if (texture(sprites, vec3(texel, tint.a)).a < 0.5) discard;
        label = surface.y / 255.0;
    }
}

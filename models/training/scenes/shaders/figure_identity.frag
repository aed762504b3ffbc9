#include figure_cut
uniform float identity;
out float label;

void main() {
    if (absent(Wearer(worn.rest, worn.region, worn.parts), int(worn.kind + 0.5))) discard;
    label = identity / 255.0;
}

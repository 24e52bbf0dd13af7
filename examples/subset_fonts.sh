#!/usr/bin/env bash
# Cuts the figures' font to the characters they need: the scripts that are right without shaping (Latin, Greek,
# Cyrillic, Armenian, Georgian) and the signs of the trade. Needs fonttools 4 (PyPI) and DejaVu 2.37.
#   examples/subset_fonts.sh /usr/share/fonts/truetype/dejavu
set -euo pipefail
from=${1:?folder of DejaVuSans.ttf and DejaVuSans-Bold.ttf}
to="$(dirname "$0")/../src/render/fonts"
characters="U+0020-007E,U+00A0-024F,U+0259,U+02B0-02FF,U+0300-036F,U+0370-03FF,U+0400-052F,U+0531-0587,\
U+10A0-10FF,U+1E00-1EFF,U+1F00-1FFF,U+2010-205E,U+2070-209C,U+20A0-20BF,U+2100-214F,U+2190-21FF,U+2200-22FF,\
U+2300,U+23DA,U+23E6,U+25A0-25FF,U+26A0,U+26A1,U+2713,U+2717,U+FFFD"
for face in DejaVuSans DejaVuSans-Bold; do
    pyftsubset "$from/$face.ttf" --unicodes="$characters" --layout-features='' --no-hinting --notdef-outline \
        --legacy-kern --drop-tables+=GPOS,GSUB,GDEF,MATH,FFTM --name-IDs='*' --output-file="$to/$face-subset.ttf"
done

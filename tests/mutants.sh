#!/usr/bin/env bash
# Does the suite tell? Faults are put into the sources, the page's too, one at a time, and the test that should fail is run on each.
#
#   bash tests/mutants.sh          all of them; the table goes to tests/bench/mutants.txt, too
#   bash tests/mutants.sh 9 17     only these, shown and not recorded
#
# A fault is a Perl pattern and what stands in its place. It is looked for in all of src, so it follows its code to another file; it must
# match exactly once there. Nothing else may be changed in the working tree; however the script ends, src is as it was.
# Exits with 1 where fewer than nine in ten are killed.
set -euo pipefail
cd "$(dirname "$0")/.."

wheres=() whats=() patterns=() withs=() programs=() tests=()
mutant() {
  wheres+=("$1") whats+=("$2") patterns+=("$3") withs+=("$4") programs+=("$5") tests+=("$6")
}

mutant law 'visibility by 2 % of contrast left, not 5 %' \
  'DEPTH_OF_VISIBILITY: f64 = \K2\.995_732_273_553_991' 3.912_023_005_428_146 \
  suite law::
mutant steps 'octaves fall off by a tenth less than gain says' \
  'amplitude: libm::pow\(bands\.gain, \K(?=f64::from\(k\)\))' '0.9 * ' \
  suite slopes_follow_gain
mutant steps 'smear 4 % too short' \
  'variance = length \* length / \K12\.0' 13.0 \
  suite smear_has_the_moments
mutant steps 'what halving has softened is softened once more' \
  '0\.5 \* libm::sqrt\(sigma \* sigma\K - [^\n]*(?=\)$)' '' \
  suite a_gaussian_on_fewer
mutant steps 'scale height of the open side 5 % too long' \
  'if h >= 0\.0 \{ h / \Kheight(?= \})' '(1.05 * height)' \
  suite falloff_landmarks
mutant plan 'a fade that is early is straight' \
  'Curve::Early => t\K \* \(2\.0 - t\)' '' \
  treat a_fade_dissolves
mutant plan 'nearness of a repeat halved' \
  'const NEAR: f64 = \K0\.04' 0.02 \
  suite periods::
mutant plan 'air moved into a picture stays in the sheet in front' \
  'airs\[at \+ 1\]\.sheet = airs\[at \+ 1\]\.sheet\.plus\(moved\.times\(-1\.0\)\);' '' \
  treat tint_keeps_the_sum
mutant rim 'a rim runs on for 2 texels beneath the art, not 4' \
  'const RUN: \w+ = \K4' 2 \
  rim a_rim_runs_on
mutant rim 'a rim serves 90 % of its outline, not 95 %' \
  'pub const SHARE: f64 = \K0\.95' 0.90 \
  rim two_percent_less
mutant stack 'every layer pans as the play plane does' \
  'x - self\.right\K \* rate(?=$)' '' \
  suite the_files_put_together
mutant stack 'a fade stands half a texel too high' \
  'fade\.left\(y as f64 \+ \K0\.5' 1.0 \
  treat a_fade_dissolves
mutant texture 'bound of a fitted texture 1.2 times too loose' \
  'let most = \K(?=most as f32;)' '1.2 * ' \
  world no_fitted_sheet
mutant texture 'premultiplied colours ignore the dither of their opacity' \
  'f32::from\(opacity\) / 255\.0 / texel\[3\]' '1.0' \
  world premultiplied_textures
mutant check 'overdraw 3 % too high' \
  '(?=wide\(\*camera\) \* tall)' '1.03 * ' \
  check overdraw_is
mutant check 'lightness may turn by three times as much' \
  'const LEVEL: f64 = \K2\.0' 6.0 \
  check lightness_that_turns
mutant rerun 'drift in the manifest not scaled by the pan rate' \
  'if job\.moves\(\) \{ self\.drift\K \* job\.placing\.pan_rate' '' \
  world fog_is_suggested
mutant rerun '--prune removes what somebody painted on' \
  'Found::Ours\(_\)\K(?= if goes =>)' ' | Found::Touched' \
  rerun files_of_slots_that_are_gone
mutant rerun 'what other moods name is replaced without being given to them' \
  'if \K(?=!names\.is_empty\(\) \{\n +self\.with_room)' 'false && ' \
  rerun what_changes_in_one_mood
mutant tune 'two gestures are one step' \
  'gesture\.is_some\(\)\K && gesture == self\.gesture' '' \
  tune a_gesture_is_one_step
mutant cli 'a manifest that is older than its inputs stays so' \
  'modified\(manifest\) < \Knewest' None \
  rerun make_runs_when
mutant steps 'a curve along the travel leaves its points' \
  '^ +\K2\.0(?= \* most\.copysign)' 5.0 \
  suite a_curve_stays_within
mutant plan 'places of a curve count from the left edge of the view' \
  'let middle = self\.scene\.view\[0\] / \K2\.0' 1e9 \
  suite the_law_holds_times
mutant stack 'the strip shows no slot in mid-view' \
  'let camera = \(\(x - self\.view / \K2\.0' 4.0 \
  world what_is_wide
mutant page 'the first point of a curve brings no ends' \
  'points\.length === 0 \? \K\[0, look\.travel\[0\]\](?=\.filter)' '[]' \
  tune a_curve_is_drawn
mutant page 'each move of a point is a step' \
  'what !== null \? \K\{ gesture.*\}(?= : \{\};)' '{}' \
  tune a_curve_is_drawn
mutant page 'a new lamp stands at the start of the travel' \
  'state\.view\[way\] \* share\K \+ view\.camera\[way\] \* rate' '' \
  tune lamps_are_added
mutant tune 'a renamed slot gets other fog' \
  'is_some_and\(\|slot\| \K(?=slot\.stream\.is_none)' 'false && ' \
  tune a_renamed_slot_keeps
mutant scene 'what a scene builds on wins over the scene' \
  'own\K\.entry\(path\)\.or_insert\(entry\)' '.insert(path, entry)' \
  rerun who_set_a_value
mutant scene "a base's pictures are looked for beside the scene" \
  'joined\(folder, own\)(?=\)\);)' 'own' \
  rerun slots_of_one_name
mutant store 'the cache is as large as it may be without a bound' \
  '\(bytes as f64 \* \Kself\.options\.cache_share(?=\) as u64)' '100.0' \
  rerun the_example_scenes

if [ -n "$(git status --porcelain -- . ':!tests/bench/mutants.txt')" ]; then
  echo "the working tree has changes: commit them or put them aside" >&2
  exit 2
fi
log=$(mktemp)
trap 'git checkout --quiet -- src; rm -f "$log"' EXIT
trap 'exit 130' INT TERM HUP

# Puts what stands in its place for the one match of a pattern.
put() {
  git ls-files -z 'src/*.rs' 'src/*.js' | PATTERN=$1 WITH=$2 perl -0ne '
    BEGIN { ($pattern, $with, $places) = ($ENV{PATTERN}, $ENV{WITH}, 0) }
    chomp;
    open my $in, "<", $_ or die; my $text = do { local $/; <$in> }; close $in;
    my $here = () = $text =~ /$pattern/gm;
    if ($here) { $places += $here; ($file, $held) = ($_, $text) }
    END {
      if ($places != 1) { print "found in $places places"; exit 1 }
      $held =~ s/$pattern/$with/m;
      open my $out, ">", $file or die; print $out $held; close $out;
    }'
}

# The tests named here take seconds without optimisation too, and building takes a fifth of the time; crates stay as tests have them.
quick=(--config profile.dev.package.fogweft.opt-level=0 --config profile.test.package.fogweft.opt-level=0)
build() { cargo test "${quick[@]}" --quiet --no-run --test "$1" >"$log" 2>&1; }
# A fault may also make it run for ever.
try() { timeout 900 cargo test "${quick[@]}" --quiet --test "$1" "$2" >"$log" 2>&1; }
ran_some() { grep -q 'test result: .* [1-9][0-9]* passed' "$log"; }

asked=("$@")
[ "${#asked[@]}" -gt 0 ] || mapfile -t asked < <(seq "${#whats[@]}")

# Without a fault they must pass, else it tells nothing that they fail.
for number in "${asked[@]}"; do
  at=$((number - 1))
  if ! try "${programs[at]}" "${tests[at]}" || ! ran_some; then
    echo "without a fault it must pass: cargo test --test ${programs[at]} ${tests[at]}" >&2
    tail -n 30 "$log" >&2
    exit 2
  fi
done

row='%-3s %-8s %-58s %-32s %s\n'
table=$(printf "$row" no. in fault 'test that should fail' '')
printf '%s\n' "$table"
killed=0
for number in "${asked[@]}"; do
  at=$((number - 1))
  if ! outcome=$(put "${patterns[at]}" "${withs[at]}"); then
    :
  elif ! build "${programs[at]}"; then
    outcome="doesn't build"
  elif try "${programs[at]}" "${tests[at]}"; then
    outcome=SURVIVED
  else
    outcome=killed
    killed=$((killed + 1))
  fi
  git checkout --quiet -- src
  line=$(printf "$row" "$number" "${wheres[at]}" "${whats[at]}" "${programs[at]} ${tests[at]}" "$outcome")
  printf '%s\n' "$line"
  table+=$'\n'$line
done
score="killed: $killed of ${#asked[@]}"
echo "$score"
if [ "$#" -eq 0 ]; then
  {
    printf 'Faults put into the sources by hand, one at a time, and whether the test that should fail did: bash tests/mutants.sh\n'
    printf '%s, at %s; %s\n\n%s\n' "$(date +%F)" "$(git rev-parse --short HEAD)" "$score" "$table"
  } >tests/bench/mutants.txt
fi
[ $((killed * 10)) -ge $((${#asked[@]} * 9)) ]

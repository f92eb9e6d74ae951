#!/usr/bin/env bash
# Measures this project's tree against general-purpose geometry libraries on the same files, and prints the ratios.
#   PEERS_DIR      where to build and keep the data (default: a new folder under /tmp)
#   SIZES          millions of triangles, default "4"; "1 4 8" for all
#   ROUNDS         how often every program runs in turn, default 3: ours, peer, peer, ours, peer, peer...
#   PEERS          which of "embree cgal_float cgal_double three", default the first two
#   INSPECT        set to measure whole inspections as well, pictures included (needs GNU time)
#   GROWTH         set to measure ours alone from 250 thousand to 16 million triangles as well, and to draw growth.svg
#   SKIP_INSTALL   set to leave apt and npm alone
set -euo pipefail
here=$(cd "$(dirname "$0")" && pwd)
dir=${PEERS_DIR:-$(mktemp -d /tmp/peers.XXXXXX)}
sizes=${SIZES:-4}
rounds=${ROUNDS:-3}
peers=${PEERS:-embree cgal_float}
data=$dir/data
mkdir -p "$data" "$dir/js" "$dir/dump"
echo "building and measuring in $dir" >&2

if [ -z "${SKIP_INSTALL:-}" ]; then
  apt-get update -qq
  DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends \
    g++ libembree-dev libcgal-dev libgmp-dev libmpfr-dev libassimp-dev libtbb-dev >&2
fi
cp "$here"/peers/*.mjs "$here/peers/package.json" "$dir/js/"
case " $peers " in *" three "*)
  [ -n "${SKIP_INSTALL:-}" ] || (cd "$dir/js" && npm install --ignore-scripts --no-audit --no-fund --silent) ;;
esac

cxx() { # binary source flags...
  local to=$dir/$1 from=$here/peers/$2
  shift 2
  if [ ! -x "$to" ] || [ "$from" -nt "$to" ] || [ "$here/peers/common.hpp" -nt "$to" ]; then
    g++ -O3 -march=native -DNDEBUG -std=c++17 -pthread "$from" -o "$to" "$@"
  fi
}
cxx embree embree.cpp -lembree3
cxx cgal_float cgal.cpp -DFIELD=float -lgmp -lmpfr
cxx cgal_double cgal.cpp -DFIELD=double -lgmp -lmpfr
cxx load_tiny load_tiny.cpp
(cd "$here" && go build -o "$dir/gen" ./gen && go build -o "$dir/ours" ./ours && go build -o "$dir/plot" ./plot && go build -o "$dir/worker" ../../cmd/worker)

[ -f "$data/rays.f32" ] || "$dir/gen" -tris 12000 -offset 0.002 -check -o "$data/low.glb" -samples 1000000 -samples-out "$data/rays.f32" >&2
high() { # millions
  local f=$data/high${1}m.glb
  [ -f "$f" ] || "$dir/gen" -tris "$(awk "BEGIN { print $1 * 1000000 }")" -detail 0.004 -o "$f" >&2
  echo "$f"
}

run() { # program millions threads
  local f
  f=$(high "$2")
  case $1 in
  three) [ "$3" = 1 ] && node "$dir/js/bvh.mjs" "$f" "$data/low.glb" "$data/rays.f32" ;;
  *) "$dir/$1" "$f" "$data/low.glb" "$data/rays.f32" "$3" ;;
  esac
}

inspect() { # millions: a line for each of the rounds
  local f t delivery=$dir/delivery-$1
  f=$(high "$1")
  t=$(node -e 'const b = require("fs").readFileSync(process.argv[1]), j = JSON.parse(b.subarray(20, 20 + b.readUInt32LE(12)));
    console.log(j.accessors[j.meshes[0].primitives[0].indices].count / 3)' "$f")
  mkdir -p "$delivery"
  ln -f "$data/low.glb" "$delivery/bollard_game.glb"
  ln -f "$f" "$delivery/bollard_sculpt.glb"
  for round in $(seq "$rounds"); do
    echo "round $round of $rounds, ${1}M triangles: whole inspection" >&2
    /usr/bin/time -o "$dir/time" -f '%e %U %S %M' "$dir/worker" inspect --no-cache --spec "$here/bollard.yaml" --out "$dir/evidence-$1" "$delivery" >/dev/null 2>&1 || [ $? = 1 ]
    tail -1 "$dir/time" | awk -v t="$t" '{ printf "{\"peer\":\"ours\",\"tris\":%d,\"work\":\"inspect\",\"threads\":2,\"seconds\":%s,\"cpu\":%.2f,\"mib\":%.0f}\n", t, $1, $2 + $3, $4 / 1024 }'
  done
}

out=$dir/results.jsonl
: >"$out"
for m in $sizes; do
  for round in $(seq "$rounds"); do
    for program in ours $peers; do
      echo "round $round of $rounds, ${m}M triangles: $program" >&2
      if [ "$program" = three ]; then
        [ "$round" != 1 ] || BENCH_DUMP=$dir/dump/$program run three "$m" 1 >>"$out"
      else
        BENCH_DUMP=$dir/dump/$program run "$program" "$m" 2 >>"$out"
      fi
    done
  done
  for program in ours $peers; do # one thread: tells whether two had a core each
    [ "$program" = three ] || run "$program" "$m" 1 >>"$out"
  done
  "$dir/load_tiny" "$(high "$m")" >>"$out"
  echo "agreement query by query, ${m}M triangles:"
  for peer in $peers; do
    for work in rays nearest_high_to_low nearest_low_to_high; do
      node "$dir/js/compare.mjs" "$dir/dump/ours-$work.f32" "$dir/dump/$peer-$work.f32"
    done
  done
done
if [ -n "${INSPECT:-}" ]; then
  for m in $sizes; do inspect "$m" >>"$out"; done
fi
node "$dir/js/ratios.mjs" "$out"

if [ -n "${GROWTH:-}" ]; then
  grow=$dir/growth.jsonl
  : >"$grow"
  for m in 0.25 0.5 1 2 4 8 16; do
    run ours "$m" 2 >>"$grow"
    [ -z "${INSPECT:-}" ] || inspect "$m" >>"$grow"
  done
  node "$dir/js/growth.mjs" "$grow"
  "$dir/plot" "$grow" >"$dir/growth.svg"
fi

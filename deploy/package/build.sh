#!/usr/bin/env bash
# Builds the Debian packages of all three architectures into dist/:
#   deploy/package/build.sh [VERSION [ARCH...]]
# The same commit, Go and version give the same bytes. Needs Go and git only.
set -euo pipefail
cd "$(dirname "$0")/../.."
version=${1:-0.0.$(git rev-list --count HEAD)}
shift || true
archs=${*:-amd64 arm64 armhf}
SOURCE_DATE_EPOCH=$(git log -1 --format=%ct)
export SOURCE_DATE_EPOCH TZ=UTC LC_ALL=C VERSION=$version
export CGO_ENABLED=0 GOFLAGS=-trimpath
unset GOARCH GOARM GOOS
umask 022

# What a person reads is the same on every architecture.
pages=dist/pages
rm -rf "$pages"
mkdir -p "$pages/man" "$pages/completion"
flags="-s -w -X main.version=$version"
go build -buildvcs=false -ldflags="$flags" -o dist/here ./cmd/drumwright
dist/here man "$pages/man"
dist/here completion bash >"$pages/completion/drumwright.bash"
dist/here completion zsh >"$pages/completion/_drumwright"
dist/here completion fish >"$pages/completion/drumwright.fish"
rm dist/here
gzip -9n "$pages"/man/*.1

# The bill of materials in CycloneDX 1.5, and the licences of all that is linked.
modules=$(go list -deps -f '{{with .Module}}{{if .Version}}{{.Path}} {{.Version}} {{.Dir}}{{end}}{{end}}' ./cmd/drumwright | sort -u)
{
  printf '{"bomFormat":"CycloneDX","specVersion":"1.5","version":1,"metadata":{"component":{"type":"application","name":"drumwright","version":"%s"}},"components":[' "$version"
  printf '{"type":"library","name":"std","version":"%s","purl":"pkg:golang/std@%s"}' "$(go env GOVERSION)" "$(go env GOVERSION | sed 's/^go//')"
  while read -r path v _; do
    printf ',{"type":"library","name":"%s","version":"%s","purl":"pkg:golang/%s@%s"}' "$path" "$v" "$path" "$v"
  done <<<"$modules"
  printf ']}\n'
} >"$pages/sbom.cdx.json"
{
  echo "Licences of the libraries that are part of the program"
  printf '\n---- Go %s\n\n' "$(go env GOVERSION)"
  cat "$(go env GOROOT)/LICENSE"
  while read -r path v dir; do
    printf '\n---- %s %s\n\n' "$path" "$v"
    found=$(find "$dir" -maxdepth 1 -type f -iregex '.*/\(licen[cs]e\|copying\|notice\|copyright\)[^/]*' | sort)
    [ -n "$found" ] || { echo "no licence found for $path $v" >&2; exit 1; }
    while read -r f; do cat "$f"; echo; done <<<"$found"
  done <<<"$modules"
} >"$pages/copyright"

for arch in $archs; do
  case $arch in
  amd64 | arm64) goarch=$arch ;;
  armhf) goarch=arm ;;
  *) echo "architecture $arch: allowed are amd64, arm64 and armhf" >&2; exit 2 ;;
  esac
  export ARCH=$arch OUT=dist/tree
  rm -rf "$OUT"
  cp -r "$pages" "$OUT"
  GOOS=linux GOARCH=$goarch GOARM=7 go build -buildvcs=false -ldflags="$flags" -o "$OUT/drumwright" ./cmd/drumwright
  find "$OUT" -exec touch -h -d "@$SOURCE_DATE_EPOCH" {} +
  go tool -modfile=deploy/package/nfpm.mod nfpm package -f deploy/package/nfpm.yaml -p deb -t "dist/drumwright_${version}_$arch.deb"
  rm -rf "$OUT"
done
rm -rf "$pages"
sha256sum dist/drumwright_"$version"_*.deb

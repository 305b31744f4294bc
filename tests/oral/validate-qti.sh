#!/bin/sh
# Validates a package written by `halfsplit oral SYSTEM --paper N --form qti --out FOLDER`
# against the schemas that 1EdTech publishes for QTI 3.0. Needs xmllint and, the first time,
# the network; so it is no part of `cargo test`.
#
#     tests/oral/validate-qti.sh FOLDER [FOLDER-OF-SCHEMAS]
set -eu
package=$1
schemas=${2:-target/qti-schemas}
base=https://purl.imsglobal.org/spec/qti/v3p0/schema/xsd
item=imsqti_asiv3p0_v1p0.xsd
manifest=imsqtiv3p0_imscpv1p2_v1p0.xsd
mkdir -p "$schemas"
for name in $item $manifest; do
    [ -s "$schemas/$name" ] || curl -fsSL -o "$schemas/$name" "$base/$name"
done
# What a schema includes from elsewhere is fetched by xmllint itself.
xmllint --noout --schema "$schemas/$manifest" "$package/imsmanifest.xml"
for file in "$package"/test.xml "$package"/item-*.xml; do
    xmllint --noout --schema "$schemas/$item" "$file"
done

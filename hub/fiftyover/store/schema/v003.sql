-- Which batches are a kit's: where many smokers share a record, each asks for its own every half minute.
CREATE INDEX batches_of_kits ON events (json_extract(data, '$.kit'), batch) WHERE kind IN ('planned', 'kit-chosen');

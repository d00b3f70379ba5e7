// Reads zipped task files with the npm library isoxml; prints what it found as JSON.
// node read_tasks.mjs FOLDER_WITH_NODE_MODULES ZIP...
import { readFileSync } from 'node:fs'
import { createRequire } from 'node:module'

const [folder, ...paths] = process.argv.slice(2)
const { ISOXMLManager } = createRequire(`${folder}/`)('isoxml')
const found = {}
for (const path of paths) {
    const manager = new ISOXMLManager()
    await manager.parseISOXMLFile(new Uint8Array(readFileSync(path)), 'application/zip')
    const root = manager.rootElement.attributes
    const task = root.Task[0]
    const field = root.Partfield[0]
    const zones = (task.attributes.TreatmentZone || []).map(zone => ({
        code: zone.attributes.TreatmentZoneCode,
        name: zone.attributes.TreatmentZoneDesignator,
        value: zone.attributes.ProcessDataVariable[0].attributes.ProcessDataValue,
        ddi: zone.attributes.ProcessDataVariable[0].attributes.ProcessDataDDI,
        scale: zone.attributes.ProcessDataVariable[0].attributes.ValuePresentationIdRef
            ?.entity.attributes.Scale,
        polygons: (zone.attributes.PolygonTreatmentZoneonly || []).map(one =>
            one.attributes.LineString.map(line => line.attributes.Point.map(point =>
                [point.attributes.PointEast, point.attributes.PointNorth])))
    }))
    const grid = task.attributes.Grid?.[0]
    const isValues = grid && String(grid.attributes.GridType) === '2'
    found[path] = {
        warnings: manager.getWarnings(),
        version: root.VersionMajor,
        field: field.attributes.PartfieldDesignator,
        area: field.attributes.PartfieldArea,
        outline: field.toGeoJSON(),
        customer: field.attributes.CustomerIdRef?.entity.attributes.CustomerLastName,
        task: task.attributes.TaskDesignator,
        status: task.attributes.TaskStatus,
        zones,
        description: isValues ? task.getGridValuesDescription() : null,
        cells: isValues ? task.getGridAsGeoJSON(['rate']).features.map(cell => ({
            corners: cell.geometry.coordinates[0], rate: cell.properties.rate })) : null
    }
}
process.stdout.write(JSON.stringify(found))
